"""How complete denominators are, as rows of a CSV. No query."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analytics.answers import Denominators, SiteMonthInError
from analytics.charts.figure import Cell

DENOMINATOR_COLUMNS = ("site", "month", "uses_recorded", "reported_whole", "to_mend", "uses", "events")


def denominator_rows(found: Denominators, to_mend: Sequence[SiteMonthInError]) -> Iterator[tuple[Cell, ...]]:
    """Each site-month owed, once, or once for each model of which it has fewer uses than first events."""
    uses, returns = set(found.uses.given), set(found.returns.given)
    wrong: dict[tuple[str, object], list[SiteMonthInError]] = {}
    for one in to_mend:
        wrong.setdefault((one.site, one.month), []).append(one)
    for site, month in sorted((*found.uses.given, *found.uses.missing)):
        owed = (site, f"{month:%Y-%m}", _yes((site, month) in uses), _yes((site, month) in returns))
        for one in wrong.get((site, month), ()):
            yield (*owed, one.device_model, one.uses, one.events)
        if (site, month) not in wrong:
            yield (*owed, None, None, None)


def _yes(so: bool) -> str:
    return "yes" if so else "no"

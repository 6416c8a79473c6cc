"""Lots seen twice and lots set aside as rows of a CSV. No query."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from analytics.answers_devices import LotAside, LotSeen
from analytics.charts.figure import Cell

LOT_COLUMNS = (
    *("device_model", "name", "device_class", "lot", "events", "cases", "sites"),
    *("site", "when", "case", "set_aside_at"),
)
ASIDE_COLUMNS = ("device_model", "name", "lot", "site", "since", "by", "reason", "shelves")


def lot_rows(lots: Iterable[LotSeen]) -> Iterator[tuple[Cell, ...]]:
    """Each first event of each lot, in the order of the page, with what stands of the lot beside it."""
    for one in lots:
        aside = ", ".join(row.site for row in one.aside) or None
        for event in one.seen:
            when = event.day or (f"{event.month:%Y-%m}" if event.month else f"{event.year}")
            yield (
                *(one.device_model, one.name, one.device_class, one.lot, one.events, one.cases, one.sites),
                *(event.site, when, event.case or None, aside),
            )


def aside_rows(lots: Iterable[LotAside]) -> Iterator[tuple[Cell, ...]]:
    """Each lot set aside; of another site the month and no more."""
    for one in lots:
        since = f"{one.at:%Y-%m-%d}" if one.code else f"{one.at:%Y-%m}"
        said = (one.by, one.reason, one.shelves)
        yield (one.device_model, one.name, one.lot, one.site, since, *(text or None for text in said))

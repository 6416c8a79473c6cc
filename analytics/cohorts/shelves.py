"""Options declined because the tool was not on the shelf, or not in a size that fits, and what followed them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from typing import Any, NamedTuple

from django.db.models import F, Q

from analytics.cohorts.counting import Row, Table, at_one_moment, by_value, in_order, in_scope
from analytics.cohorts.kept import Tables, added, keepable
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Action, DeclinedOption
from registry.models.bulk import Among
from registry.terms import Cause

NOT_ON_SHELF, NOT_IN_SIZE = "not_on_shelf", "not_compatible_size"
MOST_CASES = 20
"""Options that stand below one technique, the newest; their CSV has all."""


class ToolsWanted(NamedTuple):
    """What stands behind a list of techniques that were wanted (R11); all numbers but `options` are complications.

    `techniques`: by `technique`, those in which it was wanted, for want of a size alone (`without_size`), whose end was
    seen and has a cause (`ended`), and that came `out`. `how_often`: by `technique`, those with a `name` of a `kind`:
    the `site`, what was `faced`, the technique that followed `instead`; `nothing` more followed, or the order is
    `not_known`, both under no name. `newest`: options, at most 20 a technique. `whole`: one row, with the `cases`.
    """

    techniques: Table
    how_often: Table
    newest: Table
    whole: Table


def _together(found: Sequence[Tables]) -> ToolsWanted:
    newest = [
        {**row, "instead": row["instead"] if row["instead"] is None else tuple(row["instead"])}
        for tables in found
        for row in tables.get("newest", [])
    ]
    return ToolsWanted(
        techniques=added(found, ["technique"], "techniques"),
        how_often=added(found, ["technique", "kind", "name"], "how_often"),
        newest=_newest(newest),
        whole=added(found, [], "whole"),
    )


@keepable(ToolsWanted._asdict, _together)
def tools_wanted(scope: Scope, filters: Filters) -> ToolsWanted:
    """How often each technique was declined for want of a tool, where, and what was done instead."""
    options = wishes(scope, filters)
    facts = {(row["technique"], *fact, row["complication"]) for row in options for fact in _facts(row)}
    how_often = Counter((technique, kind, name) for technique, kind, name, _ in facts)
    whole = {name: len({row[name] for row in options}) for name in ("complication", "case")}
    return ToolsWanted(
        techniques=in_order(map(_counted, by_value(options, "technique").values()), ["technique"]),
        how_often=in_order(
            (
                {"technique": technique, "kind": kind, "name": name, "complications": number}
                for (technique, kind, name), number in how_often.items()
            ),
            ["technique", "kind", "name"],
        ),
        newest=_newest(options),
        whole=[{"complications": whole["complication"], "cases": whole["case"]}] if options else [],
    )


def _facts(row: Row) -> Iterator[tuple[str, str | None]]:
    """What is counted of one option: kinds with their names."""
    yield "site", row["site"]
    yield "faced", row["faced"]
    if row["instead"] is None:
        yield "not_known", None
    elif not row["instead"]:
        yield "nothing", None
    else:
        yield from (("instead", technique) for technique in row["instead"])


def _counted(options: Table) -> Row:
    """The options of one technique."""
    causes = {row["complication"]: row["cause"] for row in options}
    absent = {row["complication"] for row in options if row["reason"] == NOT_ON_SHELF}
    seen = [cause for cause in causes.values() if cause not in (None, Cause.CENSORED)]
    return {
        "technique": options[0]["technique"],
        "options": len(options),
        "complications": len(causes),
        "without_size": len(causes) - len(absent),
        "ended": len(seen),
        "out": seen.count(Cause.OUT),
    }


def _newest(options: Table) -> Table:
    """The newest of each technique, the newest of all first."""
    numbers: Counter[str | None] = Counter()
    newest = []
    for row in sorted(options, key=_place):
        numbers[row["technique"]] += 1
        if numbers[row["technique"]] <= MOST_CASES:
            newest.append(row)
    return newest


def _place(row: Row) -> tuple[Any, ...]:
    return -row["earliest"].toordinal(), row["case"], row["complication"], row["index"]


@at_one_moment()
def wishes(scope: Scope, filters: Filters) -> Table:
    """Each of these options with its complication (its key and `cause`), case, site and month, the newest first.

    `instead` are the techniques that followed to deal with the device, neither looks nor what prepares, each once in
    their order, without the one declined; None where it is not recorded after which action that was.
    """
    counted = Q(filters.inside(), filters.acted_so("considered_for"), acts_counted=True)
    options = DeclinedOption.objects.filter(counted, reason__in=(NOT_ON_SHELF, NOT_IN_SIZE))
    rows = in_scope(options, scope).values(
        *("technique", "reason", "later_tried", "month", "earliest", "index", "after_position"),
        "complication",
        faced=F("considered_for"),
        cause=F("complication__cause"),
        code=F("case__code"),
        name=F("site__name"),
    )
    acts = _acts({row["complication"] for row in rows})
    found = []
    for row in rows:
        after, case, site = (row.pop(name) for name in ("after_position", "code", "name"))
        later = [
            technique
            for position, technique in acts.get(row["complication"], [])
            if after is not None and position > after and technique != row["technique"]
        ]
        instead = None if after is None else tuple(dict.fromkeys(later))
        found.append({**row, "case": case, "site": site, "instead": instead})
    return sorted(found, key=_place)


def _acts(complications: Collection[int]) -> dict[int, list[tuple[int, str | None]]]:
    """By complication, position and technique of its acts that dealt with the device, in order."""
    acts = Action.objects.filter(
        Among("complication", sorted(complications)),
        aim__in=("free", "retrieve", "secure", "leave", "hand_over"),
    )
    found: dict[int, list[tuple[int, str | None]]] = {}
    columns = ("complication", "position", "technique")
    for complication, position, technique in acts.order_by(*columns[:2]).values_list(*columns):
        found.setdefault(complication, []).append((position, technique))
    return found

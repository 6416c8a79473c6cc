"""Lots seen twice and lots set aside, as far as they are open to who asks."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

from analytics import cohorts
from analytics.answers_devices import LotAside, LotEvent, LotSeen
from analytics.cohorts import Row
from analytics.models import QuarantinedLot
from registry.access import Scope
from registry.models import Person


def lots_in_brief(scope: Scope) -> tuple[LotSeen, ...]:
    """Lots in which first events came together, the latest first, without their events."""
    return tuple(
        LotSeen(
            row["device_model"],
            row["name"],
            row["device_class"],
            row["lot"],
            row["events"],
            row["cases"],
            row["sites"],
            row["set_aside"],
        )
        for row in cohorts.lots_seen_twice(scope)
    )


def with_events(
    scope: Scope, lots: Sequence[LotSeen], aside: Sequence[LotAside], open_sites: Collection[str]
) -> tuple[LotSeen, ...]:
    """The same lots with their events and where they are set aside; days and cases of `open_sites` alone, by code."""
    events: dict[tuple[str, str], list[LotEvent]] = {}
    for row in cohorts.events_of_lots(scope, {(one.device_model, one.lot) for one in lots}):
        events.setdefault((row["device_model"], row["lot"]), []).append(_event(row, open_sites))
    kept: dict[tuple[str, str], list[LotAside]] = {}
    for one in aside:
        kept.setdefault((one.device_model, one.lot), []).append(one)
    return tuple(
        replace(
            one,
            seen=tuple(events.get((one.device_model, one.lot), ())),
            aside=tuple(kept.get((one.device_model, one.lot), ())),
        )
        for one in lots
    )


def _event(row: Row, open_sites: Collection[str]) -> LotEvent:
    event = LotEvent(row["site_name"], row["month"], row["earliest"].year)
    if row["site"] not in open_sites:
        return event
    day = f"{row['earliest']:%-d %B %Y}" if row["earliest"] == row["latest"] else ""
    return replace(event, day=day, case=row["case"])


def asides(rows: Iterable[QuarantinedLot], said: Mapping[str, Mapping[str, str]]) -> tuple[LotAside, ...]:
    """Lots set aside; what was said, by whom and the code stand only where `said` has the words of a row's code."""
    return tuple(_aside(row, said.get(row.code)) for row in rows)


def _aside(row: QuarantinedLot, said: Mapping[str, str] | None) -> LotAside:
    model = row.device_model
    told = LotAside(row.site.name, model.code, model.name, row.lot, row.at, ended_at=row.ended_at)
    if said is None:
        return told
    return replace(
        told,
        code=row.code,
        by=_who(row.by),
        reason=said["reason"],
        shelves=said["shelves"],
        ended_by=_who(row.ended_by),
    )


def _who(person: Person | None) -> str:
    return "" if person is None else person.name or person.code

"""Writers of what people add to the figures: words on signals, annotations, lots set aside. Each one transaction."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Mapping
from typing import Any, TypeVar

from django.db.models import QuerySet
from django.utils import timezone

from analytics.models import Annotation, QuarantinedLot, Said, SignalWord
from registry.access import data_keys, registry_id, require
from registry.canonical import unwritable
from registry.case_fields import NAME
from registry.journal import Event
from registry.models import DataKey, DeviceModel, Person, Site
from registry.recording.change import Change, NotSaved, recorded
from registry.sealing import new_data_key, seal, unseal
from registry.terms import Role, SignalState

MAY_ANNOTATE = frozenset({Role.LAB_DIRECTOR})
MAY_SET_ASIDE = frozenset({Role.LAB_DIRECTOR, Role.ADMINISTRATOR})
LONGEST = 2_000
_BOUND_TO = "said"
_NEEDS_WORDS = {
    SignalState.EXPLAINED: "say what explains it",
    SignalState.ACTED_ON: "say what was done",
}

AnySaid = TypeVar("AnySaid", bound=Said)


def answer_signal(
    rule: str, subject: str, crossed: datetime.date, state: SignalState, words: str, *, by: Person
) -> None:
    """Add a word to a signal's history; nothing is ever taken out of it.

    The door is the route's: who may answer, may at any site. NotSaved where a state that ends the review has no words.
    """
    if state == SignalState.NEW:
        raise NotSaved("a signal is new by itself; choose another state")
    text = _readable(words, needed=_NEEDS_WORDS.get(state, ""))
    row = SignalWord(rule=rule, subject=subject, crossed=crossed, state=state)
    particulars = {"rule": rule, "crossed": crossed.isoformat(), "state": str(state)}
    _said(row, {"words": text}, Event("signal_answered", particulars=particulars), by)


def annotate(
    site: Site, day: datetime.date, words: str, *, model: DeviceModel | None = None, by: Person
) -> None:
    """Put a mark on the charts of a site from a day on, of one model or of all."""
    require(by, MAY_ANNOTATE, [site])
    text = _readable(words, needed="say what happened on that day")
    row = Annotation(site=site, device_model=model, day=day)
    _said(row, {"words": text}, Event("annotation_added", particulars={"site": site.code}), by)


def end_annotation(code: str, *, by: Person) -> None:
    """Take a mark off the charts; it stays in the history. NotSaved where it is off already."""
    gone = "this annotation is off the charts already"
    _end(Annotation.objects.filter(code=code), MAY_ANNOTATE, "annotation_ended", gone, by=by)


def set_lot_aside(site: Site, model: DeviceModel, lot: str, reason: str, shelves: str, *, by: Person) -> None:
    """Set a lot aside at a site, with why and where to look. NotSaved where it is set aside there already."""
    require(by, MAY_SET_ASIDE, [site])
    if not lot.strip() or len(lot) > NAME or unwritable(lot):
        raise NotSaved(f"lot, value {lot[:60]!r}: a lot is readable text of 1 to {NAME} characters")
    said = {
        "reason": _readable(reason, needed="say why the lot is set aside"),
        "shelves": _readable(shelves, needed="say which shelves to look on"),
    }
    if QuarantinedLot.objects.filter(site=site, device_model=model, lot=lot.strip(), ended_at=None).exists():
        raise NotSaved("this lot is set aside at this site already")
    row = QuarantinedLot(site=site, device_model=model, lot=lot.strip())
    _said(row, said, Event("lot_set_aside", particulars={"site": site.code}), by)


def release_lot(code: str, *, by: Person) -> None:
    """End the quarantine of a lot. NotSaved where it has ended already."""
    rows = QuarantinedLot.objects.filter(code=code)
    _end(rows, MAY_SET_ASIDE, "lot_released", "this lot is not set aside any more", by=by, ended_by=by)


def _end(
    rows: QuerySet[Any], may: frozenset[Role], what: str, gone: str, *, by: Person, **more: Person
) -> None:
    """End what still stands of one row; of two people at once the second finds it `gone`, since the row is locked."""

    def work(change: Change) -> None:
        standing = rows.filter(ended_at=None).select_related("site")
        row = standing.select_for_update(of=("self",), no_key=True).first()
        if row is None:
            raise NotSaved(gone)
        require(by, may, [row.site])
        rows.filter(pk=row.pk).update(ended_at=timezone.now(), **more)
        change.enter(Event(what, particulars={"site": row.site.code}))

    recorded(work, who=by.code)


def said_in(rows: Iterable[AnySaid]) -> list[tuple[AnySaid, Mapping[str, str]]]:
    """Rows with what was said in them, their keys read in one query."""
    listed = list(rows)
    if not listed:
        return []
    found, registry = data_keys({row.key for row in listed}), registry_id()
    return [(row, unseal(row.sealed, found[row.key], registry, row.code, _BOUND_TO)) for row in listed]


def said_of_lots(rows: Iterable[QuarantinedLot], sites: Collection[str]) -> dict[str, Mapping[str, str]]:
    """Reason and shelves by the code of the row, of lots set aside at these sites, by their codes."""
    return {row.code: words for row, words in said_in(row for row in rows if row.site.code in sites)}


def _readable(words: str, *, needed: str) -> str:
    text = words.strip()
    if not text and needed:
        raise NotSaved(needed)
    if len(text) > LONGEST or unwritable(text):
        raise NotSaved(f"the words are too long or hold characters that cannot be kept; at most {LONGEST:,}")
    return text


def _said(row: Said, said: Mapping[str, str], event: Event, by: Person) -> None:
    wrapped, key = new_data_key(row.code)
    row.by, row.at, row.key = by, timezone.now(), wrapped.id
    row.sealed = seal(said, key, registry_id(), row.code, _BOUND_TO)

    def work(change: Change) -> None:
        DataKey.objects.create(
            id=wrapped.id, owner=wrapped.owner, wrapping_key=wrapped.wrapping_key, wrapped=wrapped.wrapped
        )
        row.pk = None
        row.save(force_insert=True)
        change.enter(event)

    recorded(work, who=by.code)

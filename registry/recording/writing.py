"""Writing checked and sealed cases: one path for one case and for many, so that both leave the same rows."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from registry import models
from registry.canonical import Json
from registry.case_ladders import CountedComplication, counted_complications
from registry.documents.rows import Names, NewRow, rows_of
from registry.documents.sealed_fields import REASON, parted
from registry.documents.tables import MODELS
from registry.journal import Event
from registry.models import Case, DataKey, Patient, Version
from registry.models.columns import Row
from registry.partial_dates import Span
from registry.recording.change import Change, NotSaved
from registry.sealing import Wrapped, digest, lookup, new_data_key, seal
from registry.terms import COUNTED_STATES, CaseState, Result
from registry.versions import VersionText

LOCAL_REFERENCE = "/patient/local_reference"
"""Where the local reference stands among the sealed texts."""
_BATCH = 1000


@dataclass(frozen=True, slots=True)
class Prepared:
    """One change of one case, checked and sealed before the transaction.

    `case` is None for a new one, else its primary key, and `version` the number that it must still have. `new_key` is
    the data key drawn for a new case; `lookup` the keyed hash of its local reference.
    """

    what: str
    site: int
    site_code: str
    document_id: str
    code: str
    case: int | None
    version: int
    state: str
    text: VersionText
    lookup: str | None
    new_key: Wrapped | None = None
    erased: bool = False
    batch: int | None = None
    particulars: Mapping[str, Json] | None = None


def sealed_text(
    document: Mapping[str, Json],
    *,
    key: bytes,
    key_id: Any,
    registry: str,
    code: str,
    version: int,
    reason: str = "",
) -> VersionText:
    """A version's text of a canonical document under a data key; a typed reason is sealed with it."""
    clear, texts = parted(document)
    if reason:
        texts[REASON] = reason
    return VersionText(clear, seal(texts, key, registry, code, version), key_id)


def lookup_of(document: Mapping[str, Json], site_code: str) -> str | None:
    """The keyed hash of a document's local reference, where it has one."""
    reference = (document.get("patient") or {}).get("local_reference")
    return lookup(site_code, reference) if reference else None


def new_case(
    document: Mapping[str, Json],
    *,
    site: int,
    code: str,
    registry: str,
    batch: int | None = None,
    particulars: Mapping[str, Json] | None = None,
) -> Prepared:
    """A case to be created from a canonical document, under a data key of its own."""
    wrapped, key = new_data_key(code)
    return Prepared(
        what="case_created",
        site=site,
        site_code=document["site"],
        document_id=document["id"],
        code=code,
        case=None,
        version=0,
        state=CaseState.SUBMITTED,
        text=sealed_text(document, key=key, key_id=wrapped.id, registry=registry, code=code, version=1),
        lookup=lookup_of(document, document["site"]),
        new_key=wrapped,
        batch=batch,
        particulars=particulars,
    )


def written(change: Change, prepared: Sequence[Prepared], names: Mapping[int, Names]) -> None:
    """Write changes of cases: rows, versions, sealed patient rows, events. `names` has those of each site.

    Cases that are there are locked in the order of their keys; NotSaved names one that has moved on meanwhile.
    """
    now = _locked(prepared)
    _refuse_doubles(prepared)
    for one in prepared:
        if one.case is not None and now.get(one.case) != one.version:
            raise NotSaved(
                f"the case {one.document_id} of {one.site_code} was changed by somebody else meanwhile "
                f"(version {one.version} is now {now.get(one.case)}); nothing was changed: read it again and try again"
            )
    rows = [
        (one, *laid_out(one.text.clear, names[one.site], site=one.site, state=one.state)) for one in prepared
    ]
    keys = _case_rows(rows)
    _rows_below(prepared, keys, rows)
    _patients(prepared, keys)
    for one, key in zip(prepared, keys, strict=True):
        text = str(one.text)
        change.enter(
            Event(
                one.what,
                case=key,
                code=one.code,
                version=one.version + 1,
                digest=digest(text),
                state=one.state,
                particulars={**(one.particulars or {}), **({"batch": one.batch} if one.batch else {})},
            )
        )
    Version.objects.bulk_create(
        [
            Version(case_id=key, number=one.version + 1, text=str(one.text), batch_id=one.batch)
            for one, key in zip(prepared, keys, strict=True)
        ],
        batch_size=_BATCH,
    )


def _locked(prepared: Sequence[Prepared]) -> dict[int, int]:
    wanted = [one.case for one in prepared if one.case is not None]
    if not wanted:
        return {}
    locked = Case.objects.filter(pk__in=wanted).order_by("pk").select_for_update(no_key=True)
    return dict(locked.values_list("pk", "version"))


def _refuse_doubles(prepared: Sequence[Prepared]) -> None:
    by_site: dict[int, list[str]] = defaultdict(list)
    for one in prepared:
        if one.case is None:
            by_site[one.site].append(one.document_id)
    for site, ids in by_site.items():
        there = (
            Case.objects.filter(site=site, document_id__in=ids).values_list("document_id", flat=True).first()
        )
        if there is not None:
            raise NotSaved(
                f"somebody else submitted the case {there} meanwhile; nothing was changed: try again"
            )


def laid_out(
    clear: Mapping[str, Json], names: Names, *, site: int, state: str
) -> tuple[dict[str, Any], list[NewRow]]:
    """The columns of the case's own row and the rows below it, derived columns filled; nothing is written."""
    columns, rows = rows_of(clear, names)
    _derive(clear, columns, rows, site=site, counted=state in COUNTED_STATES)
    return columns, rows


def _case_rows(prepared_rows: Sequence[tuple[Prepared, dict[str, Any], list[NewRow]]]) -> list[int]:
    rows = [
        Case(
            pk=one.case,
            site_id=one.site,
            document_id=one.document_id,
            code=one.code,
            state=one.state,
            version=one.version + 1,
            erased=one.erased,
            **columns,
        )
        for one, columns, _ in prepared_rows
    ]
    new = [row for row in rows if row.pk is None]
    Case.objects.bulk_create(new, batch_size=_BATCH)
    for row in rows:
        if row._state.adding:
            row.save(force_update=True)
    return [row.pk for row in rows]


def _rows_below(
    prepared: Sequence[Prepared],
    keys: Sequence[int],
    prepared_rows: Sequence[tuple[Prepared, dict[str, Any], list[NewRow]]],
) -> None:
    again = [key for one, key in zip(prepared, keys, strict=True) if one.case is not None]
    if again:
        for model in reversed(MODELS):
            replaced: Any = model._default_manager.filter(**{"case__in": again})
            replaced._raw_delete(replaced.db)
    level: list[NewRow] = []
    for key, (_, _, rows) in zip(keys, prepared_rows, strict=True):
        for new in rows:
            new.row.case_id = key
        level += rows
    while level:
        by_model: dict[type[Row], list[Any]] = defaultdict(list)
        for new in level:
            by_model[type(new.row)].append(new.row)
        for model in MODELS:
            if model in by_model:
                model._default_manager.bulk_create(by_model[model], batch_size=_BATCH)
        level = [_hung(new, parent, below) for new in level for parent, below in new.hanging]


def _hung(holder: NewRow, parent: str, new: NewRow) -> NewRow:
    new.row.case_id = holder.row.case_id
    setattr(new.row, f"{parent}_id", holder.row.pk)
    if parent == "action":
        new.row.complication_id = holder.row.complication_id
    return new


def _derive(
    clear: Mapping[str, Json], columns: Mapping[str, Any], rows: list[NewRow], *, site: int, counted: bool
) -> None:
    """Fill the derived columns of the rows that enter figures, from the one reading of the ladders."""
    earliest, latest = columns["procedure_date_earliest"], columns["procedure_date_latest"]
    when = {
        "site_id": site,
        "earliest": earliest,
        "latest": latest,
        "month": Span(earliest, latest).month,
    }
    complications = [new for new in rows if isinstance(new.row, models.Complication)]
    for new, read in zip(complications, counted_complications(clear), strict=True):
        acts_counted = counted and read.acts_known
        _set(
            new.row,
            **when,
            counted=counted,
            acts_counted=acts_counted,
            in_device_rate=counted and read.began_here,
            cause=read.ladder.cause,
            in_curve=counted and read.in_curve,
            attempts=len(read.attempts),
        )
        _derive_actions(new, read, when, acts_counted=acts_counted)
        options = [below.row for _, below in new.hanging if isinstance(below.row, models.DeclinedOption)]
        for row, option in zip(options, read.declined, strict=True):
            _set(
                row,
                **when,
                considered_for=option.considered_for,
                later_tried=option.declined.later_tried,
                also_tried=option.also_tried,
                acts_counted=acts_counted,
            )


def _derive_actions(
    new: NewRow,
    read: CountedComplication,
    when: Mapping[str, datetime.date | int | None],
    *,
    acts_counted: bool,
) -> None:
    ends = {counted.attempt.positions[-1]: counted for counted in read.attempts}
    actions = {
        below.row.position: below.row for _, below in new.hanging if isinstance(below.row, models.Action)
    }
    for rung in read.ladder.rungs:
        row = actions[rung.position]
        _set(
            row,
            **when,
            situation_faced=rung.faced,
            considered_for=read.considered_for[rung.position],
            acts_counted=acts_counted,
        )
        if ended := ends.get(rung.position):
            attempt = ended.attempt
            _set(
                row,
                ends_attempt=True,
                attempt_result=attempt.result or Result.UNKNOWN,
                attempt_in_situation=attempt.attempt_in_situation,
                attempt_in_complication=attempt.attempt_in_complication,
                attempt_minutes=attempt.minutes,
                with_injury=ended.with_injury,
                with_new_complication=ended.with_new_complication,
            )


def _set(row: Any, **values: Any) -> None:
    for name, value in values.items():
        setattr(row, name, value)


def _patients(prepared: Sequence[Prepared], keys: Sequence[int]) -> None:
    new_keys = [one.new_key for one in prepared if one.new_key is not None]
    DataKey.objects.bulk_create(
        [DataKey(id=k.id, owner=k.owner, wrapping_key=k.wrapping_key, wrapped=k.wrapped) for k in new_keys],
        batch_size=_BATCH,
    )
    new = []
    for one, key in zip(prepared, keys, strict=True):
        values = {"key": one.text.key, "sealed": one.text.sealed, "lookup": one.lookup}
        if one.case is None:
            new.append(Patient(case_id=key, **values))
        else:
            Patient.objects.filter(case=key).update(**values)
    Patient.objects.bulk_create(new, batch_size=_BATCH)

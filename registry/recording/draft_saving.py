"""A draft becomes a case, or a change of the one that it amends, which may have moved on meanwhile.

A case that is written and a draft that is gone are one transaction; what cannot be saved stays a draft, and is told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from registry.access import opened_document, whole_document
from registry.canonical import Json, read
from registry.editing import begun, finished
from registry.models import Case, Draft, Person
from registry.recording.cases import actor, amend_case, may_be_amended, submit_case
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.drafts import (
    Clash,
    DraftText,
    draft_row,
    opened_row,
    own_drafts,
    remove_draft,
    write_draft,
)


@dataclass(frozen=True, slots=True)
class Behind:
    """An amendment whose case moved on: its text, the case as it started from it, and the case as it stands.

    `base` has the row keys of the draft, `theirs` none; `version` is that of what is to stand.
    """

    now: DraftText
    base: dict[str, Json]
    theirs: dict[str, Json]
    version: int


Merge = Callable[[Behind], DraftText]
"""From a draft that is behind its case to one that is level with it, `case_text` filled; raises Clash."""


def is_behind(person: Person, code: str) -> bool:
    """Whether the case that a draft amends has moved on from the version that the draft stands on."""
    row = draft_row(own_drafts(person), code)
    return row.case is not None and row.case.version != opened_row(row).text.case_version


def bring_level(person: Person, code: str, merge: Merge) -> None:
    """Merge a draft with its case as it stands now, and keep it so; nothing is saved to the case.

    That the person is shown the case as it stands is recorded as a look before it is read, also where Clash is raised
    and nothing is written. NotSaved where the case may not be amended any more.
    """
    case = draft_row(own_drafts(person), code).case
    if case is None:
        return
    may_be_amended(case)
    theirs, number = whole_document(person, case, case.version), case.version

    def work(change: Change) -> None:
        row = draft_row(own_drafts(person), code, locked=True)
        now = opened_row(row)
        if now.text.case_version == number:
            return
        try:
            text = merge(Behind(now.text, _base(case, now.text), theirs, row.version + 1))
        except Clash as clash:
            raise Clash(clash.fields, now) from None
        write_draft(row, now.text, replace(text, case_version=number), laid_out=True)

    recorded(work, who=actor(person))


def _base(case: Case, text: DraftText) -> dict[str, Json]:
    if text.case_text:
        return dict(read(text.case_text))
    return begun(opened_document(case, text.case_version))


def submit_draft(
    person: Person, code: str, *, merge: Merge, status: str | None = None, reason: str = ""
) -> Case:
    """Record what a draft holds, as a new case or a change of the one that it amends; then the draft is gone.

    `status` is `short` or `full`, None to leave it as it stands. Where the case has moved on, `merge` brings the draft
    level first, and a draft that it brought level stays so. Clash where both changed the same; Refused names the
    places that the checks refuse; NotSaved says why nothing could be saved. The draft then stays.
    """
    if is_behind(person, code):
        bring_level(person, code, merge)
    row = draft_row(own_drafts(person), code)
    text = opened_row(row).text
    if text.typed:
        raise NotSaved("something typed cannot be read yet: " + ", ".join(sorted(text.typed)))
    document = finished(text.document)
    if status is not None:
        document["status"] = status

    def gone(change: Change) -> None:
        _remove_unchanged(person, row)

    if row.case is None:
        return submit_case(document, by=person, code=row.code, also=gone)
    assert text.case_version is not None
    version = text.case_version
    return amend_case(row.case, document, version=version, reason=reason, by=person, also=gone)


def _remove_unchanged(person: Person, read_row: Draft) -> None:
    """Delete a draft as it was read: what another page kept since would go unseen with it."""
    row = draft_row(own_drafts(person), read_row.code, locked=True)
    if row.version != read_row.version:
        raise NotSaved(
            "this draft was changed on another page at the same moment; look at it and save it again"
        )
    remove_draft(row)

"""Drafts: cases being written, of any completeness. Everything typed is sealed; only their own person opens them.

What a page sent is sorted here into late, sent twice, clashing or new; what it means is the caller's, who hands in
`edit`. Once submitted a draft is gone.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from django.db.models import QuerySet

from registry.access import (
    MAY_WRITE,
    NotFound,
    data_key,
    registry_id,
    require,
    scope_of,
    whole_document,
)
from registry.canonical import Json, read, write
from registry.editing import begun
from registry.models import Case, DataKey, Draft, Person, Site
from registry.public_codes import new_code
from registry.recording.cases import actor, may_be_amended
from registry.recording.change import Change, recorded
from registry.recording.checking import today_at
from registry.recording.erasure import forget_keys
from registry.recording.writing import lookup_of
from registry.sealing import DRAFT, new_data_key, seal, unseal

KEEP = "keep"
EARLIER = 30
"""How many earlier texts a draft keeps, to merge what a page changed against the one that it had."""


STEPS = 10
"""How many operations can be taken back."""


@dataclass(frozen=True, slots=True)
class Step:
    """An operation that can be taken back: the version that it made, what was said, and the documents around it."""

    version: int
    said: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class DraftText:
    """What is sealed: the working document with its row keys, what could not be read (by field name), what is open.

    `steps` are the last operations, oldest first; `earlier` earlier documents by version, as canonical text.
    `case_version` is the version of the case that an amendment started from, or was brought level with; `case_text`,
    only in the latter case, that version with the draft's row keys.
    """

    document: dict[str, Json]
    typed: Mapping[str, str] = field(default_factory=dict)
    opened: str = ""
    earlier: Mapping[str, str] = field(default_factory=dict)
    case_version: int | None = None
    case_text: str = ""
    steps: tuple[Step, ...] = ()

    def before(self, version: int) -> dict[str, Json] | None:
        """The document as it was at a version, None where that is too long ago."""
        text = self.earlier.get(str(version))
        return None if text is None else dict(read(text))


@dataclass(frozen=True, slots=True)
class OpenDraft:
    """A draft as its person sees it; `case` is the public code of the case that it amends.

    `time_zone` is that of its site, by whose clock `today` and every time of it is told.
    """

    code: str
    site: str
    site_name: str
    time_zone: str
    today: datetime.date
    case: str | None
    version: int
    layout: int
    changed_at: datetime.datetime
    text: DraftText


@dataclass(frozen=True, slots=True)
class Sent:
    """What a page sent besides its fields: the version it had, which page and sending it is, the press, the operation.

    `turn` is None where no script counts; `mine` that this page's values win where two differ.
    """

    version: int
    page: str
    turn: int | None
    once: str
    operation: str = KEEP
    mine: bool = False


@dataclass(frozen=True, slots=True)
class Stood:
    """What an edit finds: the text now; the document that the page had where another page wrote meanwhile.

    `version` is that of what is to stand. `moved_on` with no `base` is a page too old to be compared. `mine`: where two
    differ, this page's value wins.
    """

    now: DraftText
    moved_on: bool = False
    base: dict[str, Json] | None = None
    mine: bool = False
    version: int = 0


class Clash(Exception):
    """Two pages changed the same fields, or a row that one changed is gone; nothing was written."""

    def __init__(self, fields: list[Any], theirs: OpenDraft | None = None) -> None:
        self.fields, self.theirs = fields, theirs
        super().__init__("the same was changed on another page")


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a sending: nothing where it was `late`, nothing new where the press came `again`."""

    draft: OpenDraft
    late: bool = False
    again: bool = False
    merged: bool = False


Edit = Callable[[Stood], DraftText]
"""From what stands to what is to stand; raises Clash, or Refused of editing, and then nothing is written."""


def begin_draft(site: Site, by: Person) -> str:
    """A new draft with one complication and the site's own day; its code."""
    require(by, MAY_WRITE, [site])
    code = _unused_code()
    document = begun(
        {
            "id": code,
            "site": site.code,
            "procedure": {"date": today_at(site).isoformat()},
            "complications": [{}],
        }
    )
    return _begun(Draft(code=code, site=site, person=by), DraftText(document))


def begin_amendment(case: Case, by: Person) -> str:
    """A draft of a case that is there, or the one that the person has begun already; the look is recorded."""
    require(by, MAY_WRITE, [case.site])
    may_be_amended(case)
    there = Draft.objects.filter(person=by, case=case).order_by("pk").values_list("code", flat=True).first()
    if there is not None:
        return there
    document = begun(whole_document(by, case))
    row = Draft(code=_unused_code(), site=case.site, person=by, case=case)
    return _begun(row, DraftText(document, case_version=case.version))


def _unused_code() -> str:
    while True:
        code = new_code()
        if not (Case.objects.filter(code=code).exists() or Draft.objects.filter(code=code).exists()):
            return code


def _begun(row: Draft, text: DraftText) -> str:
    wrapped, key = new_data_key(row.code)
    row.key, row.version = wrapped.id, 1
    _seal(row, text, key)

    def work(change: Change) -> str:
        DataKey.objects.create(
            id=wrapped.id, owner=wrapped.owner, wrapping_key=wrapped.wrapping_key, wrapped=wrapped.wrapped
        )
        row.pk = None
        row.save(force_insert=True)
        return row.code

    return recorded(work, who=actor(row.person))


def _seal(row: Draft, text: DraftText, key: bytes) -> None:
    whole = {
        "document": text.document,
        "typed": dict(text.typed),
        "opened": text.opened,
        "earlier": dict(text.earlier),
        "case_version": text.case_version,
        "case_text": text.case_text,
        "steps": [asdict(step) for step in text.steps],
    }
    row.sealed = seal({DRAFT: write(whole)}, key, registry_id(), row.code, DRAFT)
    row.lookup = lookup_of(text.document, row.site.code)


def opened_row(row: Draft) -> OpenDraft:
    """A row of one's own with its text."""
    blob = unseal(row.sealed or "", data_key(row.key), registry_id(), row.code, DRAFT)
    members = read(blob[DRAFT])
    steps = tuple(Step(**step) for step in members.pop("steps", ()))
    return OpenDraft(
        code=row.code,
        site=row.site.code,
        site_name=row.site.name,
        time_zone=row.site.time_zone,
        today=today_at(row.site),
        case=row.case.code if row.case else None,
        version=row.version,
        layout=row.layout,
        changed_at=row.changed_at,
        text=DraftText(**members, steps=steps),
    )


def own_drafts(person: Person) -> QuerySet[Draft]:
    """The drafts of a person at the sites where they may write still."""
    sites = scope_of(person, MAY_WRITE).sites or frozenset()
    return Draft.objects.filter(person=person, site__in=sites).select_related("site", "case", "person")


def draft_row(rows: QuerySet[Draft], code: str, *, locked: bool = False) -> Draft:
    """The row of that code; NotFound where there is none. Locked until the transaction ends, if that is asked for."""
    if locked:
        rows = rows.select_for_update(of=("self",), no_key=True)
    row = rows.filter(code=code).first()
    if row is None:
        raise NotFound("there is no draft of yours with this code; it may have been submitted or discarded")
    return row


def opened_draft(person: Person, code: str) -> OpenDraft:
    """A person's own draft; NotFound where there is none, or it is somebody else's."""
    return opened_row(draft_row(own_drafts(person), code))


def drafts_of(person: Person) -> list[OpenDraft]:
    """A person's own drafts, the last changed first."""
    return [opened_row(row) for row in own_drafts(person).order_by("-changed_at", "-pk")]


def kept(person: Person, code: str, sent: Sent, edit: Edit) -> Answer:
    """Keep what a page sent, by its rules in their order: late, the same press again, another page's text, new.

    Raises what `edit` raises; a Clash is not asked about where the draft was last written by the same page, since
    then only the page's own answer got lost.
    """

    def work(change: Change) -> Answer:
        row = draft_row(own_drafts(person), code, locked=True)
        now = opened_row(row)
        if _late(row, sent):
            return Answer(now, late=True)
        if sent.operation != KEEP and sent.once and sent.once == row.once:
            return Answer(now, again=True)
        moved_on = sent.version != row.version
        stood = Stood(
            now.text,
            moved_on,
            now.text.before(sent.version) if moved_on else None,
            sent.mine or (moved_on and bool(sent.page) and sent.page == row.page),
            row.version + 1,
        )
        try:
            text = edit(stood)
        except Clash as clash:
            raise Clash(clash.fields, now) from None
        _note(row, sent)
        write_draft(row, now.text, text, laid_out=moved_on or sent.operation != KEEP)
        return Answer(opened_row(row), merged=moved_on)

    return recorded(work, who=actor(person))


def _late(row: Draft, sent: Sent) -> bool:
    same_page = bool(sent.page) and sent.page == row.page
    return sent.operation == KEEP and sent.turn is not None and same_page and sent.turn <= row.turn


def _note(row: Draft, sent: Sent) -> None:
    """Which page and which press wrote last."""
    if sent.operation != KEEP:
        row.once = sent.once
    row.page, row.turn = sent.page, sent.turn or 0


def write_draft(row: Draft, before: DraftText, text: DraftText, *, laid_out: bool) -> None:
    """Seal what is to stand as the next version; `laid_out` where pages are to be drawn anew."""
    earlier = {**before.earlier, str(row.version): write(before.document)}
    last = sorted(earlier, key=int)[-EARLIER:]
    row.version += 1
    if laid_out:
        row.layout = row.version
    _seal(row, replace(text, earlier={number: earlier[number] for number in last}), data_key(row.key))
    row.save(force_update=True)


def remove_draft(row: Draft) -> None:
    """Delete a draft and its key, in the transaction of whoever asks."""
    forget_keys([], [row])
    row.delete()


def discard_draft(person: Person, code: str) -> None:
    """Delete a person's own draft and its key."""

    def work(change: Change) -> None:
        remove_draft(draft_row(own_drafts(person), code))

    recorded(work, who=actor(person))

"""Importing case documents, all or nothing: parsed, checked and sealed first, then written in one transaction.

What is ready waits in an enciphered spool file, so that a file of any size needs little memory and no lock.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings
from django.utils import timezone

from registry.access import MAY_WRITE, opened_document, registry_id, require
from registry.canonical import Json, NotReadable, read, write
from registry.documents import content
from registry.documents.sealed_fields import after_erasure
from registry.findings import Finding
from registry.journal import Event
from registry.models import Case, ImportBatch, JournalEntry, Person, Site
from registry.recording.cases import BY_IMPORT, ON_A_PAGE, actor, changed_case, unused_codes
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.checking import Checker, Refused
from registry.recording.names import Wanted
from registry.recording.spooling import packed, unpacked
from registry.recording.writing import Prepared, new_case, written
from registry.sealing import Spool
from registry.terms import CaseState
from registry.versions import last_version, version_text

CHUNK = 500


@dataclass(frozen=True, slots=True)
class Source:
    """One document of an import: where it stands, for messages, and itself or why it cannot be read."""

    where: str
    document: Json = None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Manner:
    """How an import treats cases that are there: `amend` is the reason for replacing them; without one it refuses.

    `replace_edits` also replaces a case whose last version was made on a page.
    """

    amend: str = ""
    replace_edits: bool = False
    check_only: bool = False


@dataclass(slots=True)
class Tally:
    """What an import did or would do; `batch` is None where nothing changed."""

    created: int = 0
    unchanged: int = 0
    amended: int = 0
    batch: int | None = None
    errors: list[str] = field(default_factory=list)


class ImportRefused(NotSaved):
    """The file was refused whole; `errors` has one line for each thing that is wrong."""

    def __init__(self, errors: list[str]) -> None:
        self.errors = errors
        super().__init__("\n".join(errors))


@dataclass(slots=True)
class _Import:
    """An import on its way: what it has seen and what waits in the spool."""

    manner: Manner
    by: Person | None
    warn: Callable[[str], None]
    registry: str
    tally: Tally = field(default_factory=Tally)
    checker: Checker = field(default_factory=Checker)
    spool: Spool = field(default_factory=Spool)
    wanted: Wanted = field(default_factory=Wanted)
    seen: dict[tuple[str, str], str] = field(default_factory=dict)
    sites: dict[str, Site] = field(default_factory=dict)

    def refuse(self, where: str, finding: Finding | str) -> None:
        """Note an error."""
        self.tally.errors.append(f"{where}: {finding}")


def import_documents(
    sources: Iterable[Source],
    *,
    manner: Manner,
    by: Person | None,
    warn: Callable[[str], None],
    progress: Callable[[int], None] = lambda done: None,
    before_applying: Callable[[int], None] = lambda ready: None,
) -> Tally:
    """Import documents: all of them, or none and ImportRefused with every error.

    `warn` is told what a form would ask about; `progress` how many have been checked; `before_applying` how many wait
    to be written.
    """
    run = _Import(manner, by, warn, registry_id())
    Path(settings.VAR_DIR).mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryFile(dir=settings.VAR_DIR) as spool:
        done = 0
        for chunk in _chunks(sources):
            _chunk_checked(run, chunk, spool)
            done += len(chunk)
            progress(done)
        if not done:
            raise ImportRefused(["the file holds no case document; at least one is needed"])
        if run.tally.errors:
            raise ImportRefused(run.tally.errors)
        ready = run.tally.created + run.tally.amended
        if not manner.check_only and ready:
            before_applying(ready)
            run.tally.batch = _applied(run, spool)
    return run.tally


def _chunks(sources: Iterable[Source]) -> Iterator[list[Source]]:
    waiting = iter(sources)
    while chunk := list(islice(waiting, CHUNK)):
        yield chunk


def _chunk_checked(run: _Import, chunk: list[Source], spool: BinaryIO) -> None:
    documents = []
    for source in chunk:
        complete = _checked(run, source)
        if complete is not None:
            documents.append((source.where, complete))
    there = _cases_there(run, [document for _, document in documents])
    codes = iter(unused_codes(len(documents)))
    for where, document in documents:
        case = there.get((document["site"], document["id"]))
        try:
            prepared = _prepared(run, document, case, codes)
        except NotSaved as refused:
            run.refuse(where, str(refused))
            continue
        if prepared is None:
            run.tally.unchanged += 1
            continue
        run.tally.created += case is None
        run.tally.amended += case is not None
        if not (run.tally.errors or run.manner.check_only):
            run.wanted.add(document, prepared.site)
            spool.write(run.spool.sealed(packed(prepared)) + b"\n")


def _checked(run: _Import, source: Source) -> dict[str, Json] | None:
    if source.problem:
        run.refuse(source.where, source.problem)
        return None
    try:
        complete, asked = run.checker.checked(source.document)
    except Refused as refused:
        for finding in refused.findings:
            run.refuse(source.where, finding)
        return None
    key = (complete["site"], complete["id"])
    if key in run.seen:
        run.refuse(
            source.where,
            Finding("id", complete["id"], f"the same id stands at {run.seen[key]}", "one document a case"),
        )
        return None
    run.seen[key] = source.where
    if run.by is not None and complete["site"] not in run.sites:
        require(run.by, MAY_WRITE, [run.checker.sites[complete["site"]]])
    run.sites[complete["site"]] = run.checker.sites[complete["site"]]
    for finding in asked:
        run.warn(f"{source.where}: {finding}")
    return complete


def _cases_there(run: _Import, documents: list[dict[str, Json]]) -> dict[tuple[str, str], Case]:
    ids = [document["id"] for document in documents]
    found = Case.objects.filter(document_id__in=ids, site__in=run.sites.values()).select_related("site")
    return {(case.site.code, case.document_id): case for case in found}


def _prepared(
    run: _Import, document: dict[str, Json], case: Case | None, codes: Iterator[str]
) -> Prepared | None:
    """What is to be written for a document, or None where the case is unchanged; NotSaved where it is refused."""
    if case is None:
        site = run.checker.sites[document["site"]]
        return new_case(
            document, site=site.pk, code=next(codes), registry=run.registry, particulars={"source": BY_IMPORT}
        )
    same = _same(case, document)
    if case.state == CaseState.WITHDRAWN:
        if not run.manner.amend:
            raise NotSaved(
                f"the case {case.document_id} was withdrawn; with --amend and a reason it comes back"
            )
    elif same:
        return None
    if case.erased:
        raise NotSaved(
            f"the case {case.document_id} is erased: only its own export is accepted, as unchanged"
        )
    if not run.manner.amend:
        raise NotSaved(
            f"the case {case.document_id} is here with other content; to replace it give --amend REASON"
        )
    if case.state == CaseState.LOCKED:
        raise NotSaved(f"the case {case.document_id} is locked and cannot be replaced; unlock it first")
    if _edited_on_a_page(case) and not run.manner.replace_edits:
        raise NotSaved(
            f"the last version of the case {case.document_id} was made on a page; to replace it all the same "
            "give --replace-edits"
        )
    back = case.state == CaseState.WITHDRAWN
    return changed_case(
        case,
        document,
        what="case_brought_back" if back else "case_amended",
        state=CaseState.SUBMITTED,
        reason=run.manner.amend,
        source=BY_IMPORT,
    )


def _same(case: Case, document: Mapping[str, Json]) -> bool:
    if case.erased:
        there = after_erasure(version_text(last_version(case.pk).text).clear)
    else:
        there = opened_document(case)
    return content(there) == content(document)


def _edited_on_a_page(case: Case) -> bool:
    """Whether the present content was typed on a page; a lock or a withdrawal there changes no content."""
    changes = JournalEntry.objects.filter(
        case=case, what__in=("case_created", "case_amended", "case_brought_back")
    )
    for entry in changes.order_by("-id"):
        source = read(entry.text)["particulars"].get("source")
        if entry.what != "case_brought_back" or source == BY_IMPORT:
            return bool(source == ON_A_PAGE)
    return False


def _applied(run: _Import, spool: BinaryIO) -> int:
    """Write everything that waits in the spool, in one transaction; returns the batch."""

    def work(change: Change) -> int:
        names = run.wanted.made()
        batch = ImportBatch.objects.create(made_at=timezone.now())
        spool.seek(0)
        lines = iter(spool)
        while chunk := list(islice(lines, CHUNK)):
            written(change, [unpacked(run.spool.opened(line), batch.pk) for line in chunk], names)
        counts: dict[str, Any] = {
            "batch": batch.pk,
            "created": run.tally.created,
            "amended": run.tally.amended,
        }
        change.enter(Event("cases_imported", particulars=counts))
        return batch.pk

    return recorded(work, who=actor(run.by))


def documents_of_json(text: bytes, most: int) -> Iterator[Source]:
    """The documents of a `.json` file: one, or a list of them, each of at most `most` bytes."""
    try:
        value = read(text)
    except NotReadable as error:
        yield Source("the file", problem=str(error))
        return
    listed = value if isinstance(value, list) else [value]
    for number, document in enumerate(listed):
        where = f"document {number + 1}" if isinstance(value, list) else "document"
        size = len(write(document).encode("utf-8", "surrogatepass")) if isinstance(value, list) else len(text)
        if size > most:
            yield Source(where, problem=f"{size} bytes; a document has at most {most}")
        else:
            yield Source(where, document)


def documents_of_lines(lines: BinaryIO, most: int) -> Iterator[Source]:
    """The documents of a `.jsonl` file, one a line of at most `most` bytes; blank lines are passed over."""
    number = 0
    while line := lines.readline(most + 2):
        number += 1
        where = f"line {number}"
        if len(line.rstrip(b"\r\n")) > most:
            while line and not line.endswith(b"\n"):
                line = lines.readline(most)
            yield Source(where, problem=f"longer than {most} bytes, the most that a document may have")
        elif line.strip():
            try:
                yield Source(where, read(line))
            except NotReadable as error:
                yield Source(where, problem=str(error))

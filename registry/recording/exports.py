"""Exporting complete documents: what leaves with identifying fields is journalled before it is written."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from registry.access import Scope
from registry.canonical import write
from registry.documents.row_reading import clear_documents
from registry.documents.sealed_fields import after_erasure, joined
from registry.journal import Event
from registry.models import Case, Person
from registry.models.ordering import code_point
from registry.recording.cases import actor
from registry.recording.change import NotSaved, recorded
from registry.recording.files import put_in_place
from registry.recording.opening import opened_texts
from registry.terms import COUNTED_STATES

CHUNK = 500


def export_cases(path: Path, *, scope: Scope, by: Person | None) -> int:
    """Write the documents of a scope to a file, one canonical document a line, by site and id in code-point order.

    Returns their number. The file appears whole or not at all, and only when the journal says so.
    """
    if not path.parent.is_dir():
        raise NotSaved(f"there is no folder {path.parent} to write {path.name} into")
    count = 0
    with put_in_place(path) as file:
        for line in export_lines(scope):
            file.write(line.encode() + b"\n")
            count += 1
        particulars = {"sites": list(scope.codes()), "cases": count}
        recorded(lambda change: change.enter(Event("cases_exported", particulars=particulars)), who=actor(by))
    return count


def export_lines(scope: Scope) -> Iterator[str]:
    """The canonical documents of a scope's submitted and locked cases, in order."""
    cases = Case.objects.filter(state__in=COUNTED_STATES).select_related("site")
    if scope.sites is not None:
        cases = cases.filter(site__in=scope.sites)
    waiting = cases.order_by(code_point("site__code"), code_point("document_id")).iterator(chunk_size=CHUNK)
    while chunk := list(islice(waiting, CHUNK)):
        texts = opened_texts(chunk)
        for case, clear in zip(chunk, clear_documents([case.pk for case in chunk]), strict=True):
            document = after_erasure(clear) if case.erased else joined(clear, texts[case.pk])
            yield write(document)

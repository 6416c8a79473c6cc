"""Taking an import back: all or nothing, and only where nothing of it has changed since."""

from __future__ import annotations

from registry.access import MAY_WRITE, data_key, registry_id, require
from registry.canonical import read
from registry.documents.sealed_fields import joined
from registry.journal import Event
from registry.models import Case, ImportBatch, JournalEntry, Person, Version
from registry.recording.cases import BY_COMMAND, actor, changed_case
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.names import names_for
from registry.recording.writing import Prepared, written
from registry.sealing import unseal
from registry.terms import CaseState
from registry.versions import version_text


def undo_import(batch_number: int, *, reason: str, by: Person | None) -> tuple[int, int]:
    """Withdraw the cases that an import made and give those it amended what they were before.

    Returns how many were withdrawn and how many restored. NotSaved names the cases that have changed since.
    """
    batch = ImportBatch.objects.filter(pk=batch_number).first()
    if batch is None:
        raise NotSaved(f"there is no import with the batch number {batch_number}")
    if batch.undone:
        raise NotSaved(f"the import {batch_number} has been taken back already")
    made = list(Version.objects.filter(batch=batch).select_related("case__site").order_by("case_id"))
    if by is not None:
        require(by, MAY_WRITE, {version.case.site for version in made})
    changed = [version.case.document_id for version in made if version.case.version != version.number]
    if changed:
        names = ", ".join(changed[:10]) + (f" and {len(changed) - 10} more" if len(changed) > 10 else "")
        raise NotSaved(f"changed since the import: {names}; nothing was taken back")
    prepared = [_taken_back(version, reason) for version in made]

    def work(change: Change) -> None:
        sites = {one.site_code: one.site for one in prepared}
        written(change, prepared, names_for([one.text.clear for one in prepared], sites))
        if not ImportBatch.objects.filter(pk=batch.pk, undone=False).update(undone=True):
            raise NotSaved(f"the import {batch_number} has been taken back by somebody else meanwhile")
        change.enter(Event("import_undone", particulars={"batch": batch.pk, "cases": len(prepared)}))

    recorded(work, who=actor(by))
    withdrawn = sum(version.number == 1 for version in made)
    return withdrawn, len(made) - withdrawn


def _taken_back(version: Version, reason: str) -> Prepared:
    case = version.case
    if version.number == 1:
        return changed_case(
            case, None, what="case_withdrawn", state=CaseState.WITHDRAWN, reason=reason, source=BY_COMMAND
        )
    before = Version.objects.get(case=case, number=version.number - 1)
    text = version_text(before.text)
    state = _state_at(case, before.number)
    sealed = {}
    if text.sealed is not None:
        sealed = unseal(text.sealed, data_key(text.key), registry_id(), case.code, before.number)
    return changed_case(
        case,
        joined(text.clear, sealed),
        what="case_withdrawn" if state == CaseState.WITHDRAWN else "case_amended",
        state=state,
        reason=reason,
        source=BY_COMMAND,
    )


def _state_at(case: Case, version: int) -> CaseState:
    """The state that a case had with a version, as the journal says."""
    for entry in JournalEntry.objects.filter(case=case).order_by("-id"):
        members = read(entry.text)
        if members["version"] == version:
            return CaseState(members["state"])
    raise NotSaved(f"the journal has no entry for version {version} of the case {case.document_id}")

"""Each case as it stands now against its history: state replayed from the journal, rows, sealed part and key."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from django.db.models import Count, F

from registry.canonical import Json, read
from registry.models import Case, DataKey, Head, JournalEntry, Patient, Version
from registry.recording.writing import LOCAL_REFERENCE
from registry.sealing import NotOpened, Wrapped, lookup, unseal, unwrap
from registry.verification.broken import Broken, entry_words
from registry.verification.rows import KnownNames, difference, stored_rows
from registry.versions import VersionText, version_text

CHUNK = 250
ERASED = "case_erased"


@dataclass(frozen=True, slots=True)
class _Last:
    """What the journal says a case is now, by its last entry."""

    words: str
    version: int
    state: str
    erased: bool


def check_cases() -> None:
    """Every case against its journal entries and its last version. Raises Broken, KeysMissing.

    The chain must have been followed before: texts of entries and versions are taken as they stand.
    """
    names = KnownNames()
    registry = str(Head.objects.get().registry)
    waiting = Case.objects.select_related("site").order_by("pk").iterator(chunk_size=CHUNK)
    while chunk := list(islice(waiting, CHUNK)):
        _check_chunk(chunk, names, registry)


def _check_chunk(chunk: list[Case], names: KnownNames, registry: str) -> None:
    replayed = _replayed(chunk)
    texts = {
        case: version_text(text)
        for case, text in Version.objects.filter(case__in=chunk, number=F("case__version")).values_list(
            "case_id", "text"
        )
    }
    counts = dict(Version.objects.filter(case__in=chunk).order_by().values_list("case").annotate(Count("pk")))
    rows = stored_rows(chunk)
    patients = {patient.case_id: patient for patient in Patient.objects.filter(case__in=chunk)}
    keys: dict[str, list[DataKey]] = defaultdict(list)
    for key in DataKey.objects.filter(owner__in=[case.code for case in chunk]):
        keys[key.owner].append(key)
    for case in chunk:
        last = replayed.get(case.pk)
        if last is None:
            raise Broken(f"the case {case.code} is there, but the journal does not speak of it")
        _check_life(case, last, counts.get(case.pk, 0))
        text = texts[case.pk]
        if wrong := difference(case, rows[case.pk], text.clear, names):
            raise Broken(f"{last.words}: {wrong}")
        if case.site.code != text.clear["site"]:
            raise Broken(f"{last.words}: the case is filed under another site than its last version")
        if wrong := _sealed_part(case, text, patients.get(case.pk), keys[case.code], registry):
            raise Broken(f"{last.words}: {wrong}")


def _replayed(chunk: list[Case]) -> dict[int, _Last]:
    """What each case is now by its entries; its versions are numbered from 1 without a gap."""
    last: dict[int, _Last] = {}
    entries = JournalEntry.objects.filter(case__in=chunk).order_by("pk")
    for number, what, case, text in entries.values_list("pk", "what", "case_id", "text").iterator():
        members: dict[str, Any] = read(text)
        version = members["version"]
        if version is None:
            continue
        before = last.get(case)
        words = entry_words(number, what, members["case"])
        if version != (before.version if before else 0) + 1:
            raise Broken(f"{words}: it speaks of version {version} of the case, out of turn")
        erased = what == ERASED or (before is not None and before.erased)
        last[case] = _Last(words, version, members["state"], erased)
    return last


def _check_life(case: Case, last: _Last, versions: int) -> None:
    stored: Mapping[str, Json] = {"version": case.version, "state": case.state, "erased": case.erased}
    for name, value in stored.items():
        if value != (wanted := getattr(last, name)):
            raise Broken(
                f"{last.words}: the row of the case: {name} is {value}, the journal makes it {wanted}"
            )
    if versions != case.version:
        raise Broken(f"{last.words}: the case has {versions} versions, and its last is number {case.version}")


def _sealed_part(
    case: Case, text: VersionText, patient: Patient | None, keys: list[DataKey], registry: str
) -> str | None:
    """What is wrong with the sealed part of a case and its key, in words; None where nothing is."""
    if patient is None:
        return "the patient row is missing"
    if (patient.sealed, patient.key) != (text.sealed, text.key):
        return "the sealed part in the patient row is not that of its last version"
    if case.erased:
        if text.sealed is not None or patient.lookup is not None:
            return "the case is erased, but something sealed is left of it"
        return "the case is erased, but a data key of it is there" if keys else None
    key = next((key for key in keys if key.id == text.key), None)
    if key is None or text.sealed is None:
        return "its data key is gone, though the case is not erased"
    try:
        opened = unwrap(Wrapped(key.id, key.owner, key.wrapping_key, key.wrapped))
    except NotOpened:
        return "its data key was changed and cannot be opened"
    try:
        texts = unseal(text.sealed, opened, registry, case.code, case.version)
    except NotOpened:
        return "its data key, or the registry's id, is not the one that it was sealed with"
    reference = texts.get(LOCAL_REFERENCE)
    if patient.lookup != (lookup(case.site.code, reference) if reference else None):
        return "the look-up in the patient row is not that of its local reference"
    return None

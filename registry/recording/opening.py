"""Opening the sealed texts of many cases at once, for exports and releases of documents."""

from __future__ import annotations

from registry.access import registry_id
from registry.models import Case, DataKey, Patient
from registry.sealing import NotOpened, Wrapped, unseal, unwrap


def opened_texts(cases: list[Case]) -> dict[int, dict[str, str]]:
    """The sealed texts of each case by JSON pointer; none for an erased one."""
    patients = {patient.case_id: patient for patient in Patient.objects.filter(case__in=cases)}
    keys = DataKey.objects.in_bulk([patient.key for patient in patients.values() if patient.key is not None])
    registry = registry_id()
    texts: dict[int, dict[str, str]] = {}
    for case in cases:
        patient = patients[case.pk]
        if patient.sealed is None or patient.key is None:
            texts[case.pk] = {}
            continue
        row = keys.get(patient.key)
        if row is None:
            raise NotOpened(f"the key of the case {case.code} is gone, though it is not erased")
        key = unwrap(Wrapped(row.id, row.owner, row.wrapping_key, row.wrapped))
        texts[case.pk] = unseal(patient.sealed, key, registry, case.code, case.version)
    return texts

"""The door through which cases are read to leave: only as `DeidentifiedCase`, and in an order drawn by chance."""

from __future__ import annotations

import datetime
import secrets
from collections.abc import Iterator

from django.db.models import QuerySet

from registry.access import Scope
from registry.canonical import Json
from registry.deidentify.case_view import DeidentifiedCase, deidentified
from registry.deidentify.pseudonyms import Pseudonyms
from registry.documents.rows import clear_documents
from registry.models import Case
from registry.terms import CaseState

CHUNK = 250


def deidentified_cases(
    scope: Scope, since: datetime.date, until: datetime.date, pseudonyms: Pseudonyms
) -> Iterator[DeidentifiedCase]:
    """The submitted and locked cases of a scope and period, both days included, each time in another order (R13).

    A case whose date is partly known is among them only where it lies in the period however it is read.
    """
    inside = _counted(scope).filter(procedure_date_earliest__gte=since, procedure_date_latest__lte=until)
    keys = list(inside.values_list("pk", flat=True))
    secrets.SystemRandom().shuffle(keys)
    for start in range(0, len(keys), CHUNK):
        for case, clear in _settled(keys[start : start + CHUNK]):
            yield deidentified(clear, code=case.code, pseudonyms=pseudonyms)


def left_out_for_their_date(scope: Scope, since: datetime.date, until: datetime.date) -> int:
    """The number of cases that may lie in the period or outside it, their date being known too roughly."""
    touching = _counted(scope).filter(procedure_date_earliest__lte=until, procedure_date_latest__gte=since)
    return touching.exclude(procedure_date_earliest__gte=since, procedure_date_latest__lte=until).count()


def _counted(scope: Scope) -> QuerySet[Case]:
    cases = Case.objects.filter(state__in=(CaseState.SUBMITTED, CaseState.LOCKED))
    return cases if scope.sites is None else cases.filter(site__in=scope.sites)


def _settled(keys: list[int]) -> Iterator[tuple[Case, dict[str, Json]]]:
    """The clear documents of cases in the order of `keys`, each from the rows of one version.

    A change between two of the statements would mix the rows of two versions; such cases are read again.
    """
    read: dict[int, tuple[Case, dict[str, Json]]] = {}
    waiting = keys
    while waiting:
        cases = list(Case.objects.filter(pk__in=waiting).select_related("site"))
        documents = list(clear_documents(cases))
        now = dict(Case.objects.filter(pk__in=waiting).values_list("pk", "version"))
        read |= {case.pk: (case, clear) for case, clear in documents if now.get(case.pk) == case.version}
        waiting = [case.pk for case in cases if case.pk not in read]
    return (read[key] for key in keys if key in read)

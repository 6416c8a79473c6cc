"""The door through which cases are read to leave: only as `DeidentifiedCase`, and in an order drawn by chance."""

from __future__ import annotations

import datetime
import secrets
from array import array
from collections.abc import Iterator, Sequence
from itertools import compress

from django.db.models import Exists, OuterRef, QuerySet

from registry.access import Scope
from registry.deidentify.case_view import DeidentifiedCase, deidentified
from registry.deidentify.field_policy import LET_GO
from registry.deidentify.pseudonyms import Pseudonyms
from registry.documents.row_reading import CaseRows, ClearCase
from registry.models import Case
from registry.models.bulk import Among
from registry.terms import COUNTED_STATES

CHUNK = 500


class LeavingCases:
    """The submitted and locked cases of a scope and period, both days included, in one order drawn by chance (R13).

    A case whose date is partly known is among them only where it lies in the period however it is read. They are read
    in two goes, so that any number needs little memory: what they are judged by, then those that may leave.
    """

    def __init__(
        self, scope: Scope, since: datetime.date, until: datetime.date, pseudonyms: Pseudonyms
    ) -> None:
        self._pseudonyms = pseudonyms
        self._inside = _counted(scope).filter(
            procedure_date_earliest__gte=since, procedure_date_latest__lte=until
        )
        self._keys = array("q", self._inside.order_by().values_list("pk", flat=True).iterator())
        secrets.SystemRandom().shuffle(self._keys)

    def parts(self, wanted: frozenset[str]) -> Iterator[DeidentifiedCase]:
        """Every case with no more than the wanted fields; one that is no longer among them is forgotten."""
        here = array("q")
        for key, case in self._settled(self._keys, LET_GO & wanted):
            here.append(key)
            yield self._view(case)
        self._keys = here

    def whole(self, kept: Sequence[bool]) -> Iterator[DeidentifiedCase]:
        """Those of the cases of `parts` for which `kept` is true, in their order; without one that has gone since."""
        for _, case in self._settled(array("q", compress(self._keys, kept)), LET_GO):
            yield self._view(case)

    def _view(self, case: ClearCase) -> DeidentifiedCase:
        return deidentified(case.document, code=case.code, pseudonyms=self._pseudonyms)

    def _settled(self, keys: Sequence[int], wanted: frozenset[str]) -> Iterator[tuple[int, ClearCase]]:
        for start in range(0, len(keys), CHUNK):
            yield from settled(self._inside, keys[start : start + CHUNK], wanted)


def settled(
    inside: QuerySet[Case], keys: Sequence[int], wanted: frozenset[str]
) -> Iterator[tuple[int, ClearCase]]:
    """The cases in the order of `keys`, each from the rows of one version and if it is still `inside`, with its key.

    A change between two of the statements would mix the rows of two versions; such cases are read again.
    """
    read: dict[int, CaseRows] = {}
    waiting = keys
    while waiting:
        rows = CaseRows(waiting, wanted)
        were = rows.versions()
        now = dict(_still(inside, waiting).values_list("pk", "version"))
        read |= {key: rows for key, version in now.items() if were.get(key) == version}
        waiting = [key for key in now if key not in read]
    return ((key, read[key].case(key)) for key in keys if key in read)


def _still(inside: QuerySet[Case], keys: Sequence[int]) -> QuerySet[Case]:
    """The cases with these keys that are `inside`; found by their keys, whatever else has an index."""
    return Case.objects.filter(Among("pk", keys), Exists(inside.filter(pk=OuterRef("pk")))).order_by()


def left_out_for_their_date(scope: Scope, since: datetime.date, until: datetime.date) -> int:
    """The number of cases that may lie in the period or outside it, their date being known too roughly."""
    touching = _counted(scope).filter(procedure_date_earliest__lte=until, procedure_date_latest__gte=since)
    return touching.exclude(procedure_date_earliest__gte=since, procedure_date_latest__lte=until).count()


def _counted(scope: Scope) -> QuerySet[Case]:
    cases = Case.objects.filter(state__in=COUNTED_STATES)
    return cases if scope.sites is None else cases.filter(site__in=scope.sites)

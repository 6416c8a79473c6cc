"""Restoring a backup into an empty registry, of either engine, in one transaction; what was erased stays erased."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from django.core.management.color import no_style
from django.db import DataError, IntegrityError, connection

from registry import guards
from registry.access import data_key, registry_id
from registry.journal import COMMAND_LINE
from registry.models import Case, Head, JournalEntry, Patient, Site
from registry.recording.backup_format import CARRIED, Heading, columns_of, decoders, model_of
from registry.recording.backup_reading import rows_in
from registry.recording.cases import erased_case
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.erasure_list import listed_erasures
from registry.recording.names import names_for
from registry.recording.writing import LOCAL_REFERENCE, written
from registry.sealing import NotOpened, lookup, unseal

CHUNK = 1000


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore brought back: its head, its cases, and how many were erased again (None: there is no list)."""

    head: str
    cases: int
    erased_again: int | None


def restore(path: Path, heading: Heading) -> Restored:
    """Take over an inspected backup, its registry's id too. It is not journalled; erasures done again are.

    Raises NotSaved where the registry is not empty or the backup does not fit, and leaves everything as it was.
    """
    codes = listed_erasures(heading.registry)

    def work(change: Change) -> int:
        _require_empty()
        try:
            with guards.lifted():
                Head.objects.all().delete()
                _loaded(path, codes or set())
                connection.check_constraints()
        except (IntegrityError, DataError):
            raise NotSaved(
                f"{path.name} does not fit together or does not fit these tables; nothing was restored"
            ) from None
        _set_sequences()
        _require_same_lookup()
        return _erased_again(change, codes or set())

    erased = recorded(work, who=COMMAND_LINE)
    return Restored(str(Head.objects.get()), Case.objects.count(), None if codes is None else erased)


def _require_empty() -> None:
    if Site.objects.exists() or JournalEntry.objects.exists():
        raise NotSaved(
            "this registry has sites or journal entries; a backup is restored only into an empty one"
        )
    for label in CARRIED:
        if label != "registry.Head" and model_of(label)._base_manager.exists():
            raise NotSaved(
                f"the table {label} is not empty; a backup is restored only into an empty registry"
            )


def _loaded(path: Path, erased: set[str]) -> None:
    """Insert every row as it was; keys and drafts that were erased since do not even touch the disk."""
    waiting: list[list[Any]] = []
    table = ""
    for label, values in rows_in(path):
        if label != table or len(waiting) == CHUNK:
            _insert(table, waiting)
            table, waiting = label, []
        if erased and _is_erased(label, values, erased):
            continue
        waiting.append(values)
    _insert(table, waiting)


_ERASED_BY = {"registry.DataKey": "owner", "registry.Draft": "code"}


def _is_erased(label: str, values: Sequence[Any], erased: set[str]) -> bool:
    column = _ERASED_BY.get(label)
    return column is not None and values[columns_of(model_of(label)).index(column)] in erased


def _insert(label: str, rows: list[list[Any]]) -> None:
    """The rows go in past the models, which would set times and versions of their own."""
    if not rows:
        return
    model = model_of(label)
    made = decoders(model, connection)
    quote = connection.ops.quote_name
    columns = ", ".join(quote(str(field.column)) for field in model._meta.concrete_fields)
    places = ", ".join(["%s"] * len(made))
    statement = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({places})"  # noqa: S608
    with connection.cursor() as cursor:
        cursor.executemany(
            statement,
            [[make(value) for make, value in zip(made, row, strict=True)] for row in rows],
        )


def _set_sequences() -> None:
    """PostgreSQL's counters go on after the numbers that came in; SQLite's follow by themselves."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(
            no_style(), [model_of(label) for label in CARRIED]
        ):
            cursor.execute(statement)


def _require_same_lookup() -> None:
    """The look-up key has no id: that it is the same shows in the first reference that can be read."""
    registry = registry_id()
    found = Patient.objects.filter(lookup__isnull=False, key__isnull=False).select_related("case__site")
    for patient in found.order_by("pk").iterator(chunk_size=CHUNK):
        try:
            case = patient.case
            texts = unseal(patient.sealed or "", data_key(patient.key), registry, case.code, case.version)
        except NotOpened:
            continue
        if lookup(case.site.code, texts[LOCAL_REFERENCE]) != patient.lookup:
            raise NotSaved("LOOKUP_KEY is another one than the backup was made with; nothing was restored")
        return


def _erased_again(change: Change, codes: set[str]) -> int:
    """Erase anew the cases that an older backup brings back; their keys were not let in."""
    waiting = iter(sorted(codes))
    done = 0
    while chunk := list(islice(waiting, CHUNK)):
        cases = list(Case.objects.filter(code__in=chunk, erased=False).select_related("site").order_by("pk"))
        prepared = [erased_case(case) for case in cases]
        if prepared:
            sites = {case.site.code: case.site_id for case in cases}
            written(change, prepared, names_for([one.text.clear for one in prepared], sites))
        done += len(prepared)
    return done

"""P8: saving a case with four actions, beside hand-written SQL, one statement a table, that leaves the same rows.

Both write the same rows, the sealed version and the journal entry in one transaction; parsing, checks and sealing are
done before and timed apart. The whole history is verified at the end, so that both really wrote what they should.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator, Sequence
from typing import Any

from django.db import connection, models, transaction
from django.utils import timezone

from registry.access import registry_id
from registry.documents.rows import NewRow
from registry.documents.tables import MODELS
from registry.journal import Event, entry_text
from registry.models import Case, DataKey, JournalEntry, Patient, Version
from registry.public_codes import new_code
from registry.recording.change import Change, recorded
from registry.recording.checking import Checker
from registry.recording.names import names_for
from registry.recording.writing import Prepared, laid_out, new_case, written
from registry.sealing import chain_mac, current_chain_key, digest
from registry.verification import verified
from tests.bench.measuring import Measured, side_by_side
from tests.builders import a_case, a_ladder

ROUNDS = 41
LADDER = (
    "wire_stuck: echo=done, steady_traction=worse>wire_unravelled, snare_over_wire=unchanged@4, "
    "trap_balloon_in_guide=resolved@6"
)


def a_document(name: str, site: str) -> dict[str, Any]:
    """A case with four actions."""
    return a_case(
        a_ladder(LADDER, ref="C1", lesion="L1", mechanisms=["calcium"], note="caught at the bend"),
        id=f"bench-{name}",
        site=site,
        procedure={
            "date": "2026-03-14",
            "dominance": "right",
            "staff": [{"person": "p-1", "role": "first_operator"}],
        },
        patient={"local_reference": f"R-{name}", "age": 71, "sex": "female"},
        lesions=[{"ref": "L1", "segments": ["2"], "calcification": "severe"}],
        narrative="The wire did not move.",
    )


def prepared(site: str, name: str) -> Iterator[Prepared]:
    """Cases that are checked and sealed, ready to be saved by hand or by the product."""
    checker, registry = Checker(), registry_id()
    for number in itertools.count():
        document, _ = checker.checked(a_document(f"{name}-{number}", site))
        yield new_case(document, site=checker.sites[site].pk, code=new_code(), registry=registry)


def save(size: int, site: str) -> Iterator[Measured]:
    """The ratio, and beside it what comes before a save."""
    ready = prepared(site, f"p8-{time.time_ns()}")
    waiting = list(itertools.islice(ready, ROUNDS + 1))
    by_hand = [Plan(one) for one in itertools.islice(ready, ROUNDS + 1)]
    ratio, detail = side_by_side(
        lambda: save_by_product(waiting.pop()),
        lambda: by_hand.pop().saved(),
        rounds=ROUNDS,
        again=False,
    )
    start = time.perf_counter()
    list(itertools.islice(ready, 50))
    before = 1000 * (time.perf_counter() - start) / 50
    verified()
    durable = "synchronous=FULL" if connection.vendor == "sqlite" else "fsync on"
    target = 4.0 if connection.vendor == "sqlite" else 2.5
    yield Measured(
        "P8",
        connection.vendor,
        size,
        ratio,
        target,
        f"{detail}; {durable}; checks and sealing before it {before:.2f} ms",
    )


def save_by_product(one: Prepared) -> None:
    """As the product saves what it has checked and sealed."""

    def write(change: Change) -> None:
        written(change, [one], names_for([one.text.clear], {one.site_code: one.site}))

    recorded(write, who="bench")


class Plan:
    """The rows of one case as column values, ready to be written by hand."""

    def __init__(self, one: Prepared) -> None:
        self.one = one
        names = names_for([one.text.clear], {one.site_code: one.site})[one.site]
        columns, rows = laid_out(one.text.clear, names, site=one.site, state=one.state)
        self.case = Case(
            site_id=one.site,
            document_id=one.document_id,
            code=one.code,
            state=one.state,
            version=1,
            **columns,
        )
        self.levels = list(_levels(rows))
        self.text = str(one.text)

    def saved(self) -> None:
        """One statement a table, in one transaction."""
        with transaction.atomic(durable=True), connection.cursor() as cursor:
            (case,) = _insert(cursor, [self.case])
            for level in self.levels:
                for model in MODELS:
                    listed = [
                        (new, parent, holder) for new, parent, holder in level if type(new.row) is model
                    ]
                    for new, parent, holder in listed:
                        new.row.case_id = case
                        if holder is not None:
                            setattr(new.row, f"{parent}_id", holder.row.pk)
                            if parent == "action":
                                new.row.complication_id = holder.row.complication_id
                    keys = _insert(cursor, [new.row for new, _, _ in listed])
                    for (new, _, _), key in zip(listed, keys, strict=True):
                        new.row.pk = key
            self._sealed_part(cursor, case)
            self._entry(cursor, case)

    def _sealed_part(self, cursor: Any, case: int) -> None:
        one = self.one
        key = one.new_key
        assert key is not None
        _insert(
            cursor, [DataKey(id=key.id, owner=key.owner, wrapping_key=key.wrapping_key, wrapped=key.wrapped)]
        )
        _insert(cursor, [Patient(case_id=case, key=one.text.key, sealed=one.text.sealed, lookup=one.lookup)])
        _insert(cursor, [Version(case_id=case, number=1, text=self.text)])

    def _entry(self, cursor: Any, case: int) -> None:
        lock = "" if connection.vendor == "sqlite" else " FOR UPDATE"
        cursor.execute(f"SELECT number, mac, seal FROM registry_head{lock}")
        number, mac, _ = cursor.fetchone()
        at, chain_key, one = timezone.now(), current_chain_key(), self.one
        event = Event(
            one.what, case=case, code=one.code, version=1, digest=digest(self.text), state=one.state
        )
        text = entry_text(event, number=number + 1, at=at, who="bench", chain_key=chain_key, seal=None)
        mac = chain_mac(chain_key, mac, number + 1, text)
        _insert(cursor, [JournalEntry(id=number + 1, at=at, what=one.what, case_id=case, text=text, mac=mac)])
        cursor.execute("UPDATE registry_head SET number = %s, mac = %s", [number + 1, mac])


Placed = tuple[NewRow, str, NewRow | None]


def _levels(rows: Sequence[NewRow]) -> Iterator[list[Placed]]:
    level: list[Placed] = [(new, "case", None) for new in rows]
    while level:
        yield level
        level = [(below, parent, new) for new, _, _ in level for parent, below in new.hanging]


def _insert(cursor: Any, rows: Sequence[models.Model]) -> list[Any]:
    """Insert rows of one table in one statement; returns their keys."""
    if not rows:
        return []
    meta = rows[0]._meta
    fields = [field for field in meta.concrete_fields if not isinstance(field, models.AutoField)]
    values = [
        field.get_db_prep_save(getattr(row, field.attname), connection) for row in rows for field in fields
    ]
    columns = ", ".join(f'"{field.column}"' for field in fields)
    marks = ", ".join(["(" + ", ".join(["%s"] * len(fields)) + ")"] * len(rows))
    cursor.execute(
        f'INSERT INTO {meta.db_table} ({columns}) VALUES {marks} RETURNING "{meta.pk.column}"',
        values,
    )
    return [key for (key,) in cursor.fetchall()]

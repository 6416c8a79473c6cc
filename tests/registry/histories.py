"""A small registry with a past, for tests of the history; and hands that change it behind its back."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from registry import guards
from registry.canonical import read
from registry.models import Case, Look
from registry.recording.cases import BY_COMMAND, amend_case, set_state, submit_case
from registry.recording.sites import add_site
from registry.terms import CaseState
from tests.builders import a_case, a_ladder, changed
from tests.commands import command

CASES = Path(__file__).parents[2] / "fixtures" / "cases"


def the_case(document_id: str) -> Case:
    """A case by its document's id."""
    return Case.objects.select_related("site").get(document_id=document_id)


def documents() -> list[dict[str, Any]]:
    """Every invented case of the fixtures."""
    return [read(path.read_bytes()) for path in sorted(CASES.glob("*.json"))]


def a_patient(document_id: str, reference: str | None, **more: Any) -> dict[str, Any]:
    """A case of a patient with a local reference and a narrative."""
    patient = {"age": 71} if reference is None else {"age": 71, "local_reference": reference}
    ladder = a_ladder("wire_stuck: steady_traction=unchanged, microcatheter_to_trap=resolved")
    return a_case(ladder, id=document_id, patient=patient, narrative=f"Of {document_id}.", **more)


def look(case: Case) -> None:
    """Somebody was shown a case."""
    Look.objects.create(at=timezone.now(), who="SOMEBODY1", case=case.code, what="document")


def a_registry_with_a_past() -> None:
    """Three sites, every invented case, one amended, locked, withdrawn and brought back; looks in between."""
    for code in ("north", "harbour", "valley"):
        add_site(code, code.title(), by=None)
    for document in documents():
        submit_case(document, by=None)
    look(the_case("S1"))
    amended = changed(documents()[2], "procedure.contrast_ml", 211)
    amend_case(the_case(amended["id"]), amended, version=1, reason="counted again", by=None)
    look(the_case("S1"))
    look(the_case("S2"))
    moved("S7", CaseState.LOCKED)
    moved("S5", CaseState.WITHDRAWN)
    moved("S5", CaseState.SUBMITTED)
    look(the_case("S2"))


def moved(document_id: str, state: CaseState) -> None:
    """Give a case another state."""
    case = the_case(document_id)
    set_state(case, state, version=case.version, reason="as agreed", by=None, source=BY_COMMAND)


@contextmanager
def set_back(folder: Path) -> Iterator[None]:
    """What is done inside is undone afterwards, and no trace of it is left in the database."""
    assert command("backup", folder / "earlier").status == 0
    yield
    call_command("flush", interactive=False, verbosity=0)
    outcome = command("restore", folder / "earlier")
    assert outcome.status == 0, outcome.err


def in_threads(*works: Callable[[], Any]) -> list[Any]:
    """Do works at the same moment, each on a connection of its own; what each returned or raised."""
    answers: list[Any] = [None] * len(works)
    together = threading.Barrier(len(works))

    def run(number: int) -> None:
        try:
            together.wait(timeout=30)
            answers[number] = works[number]()
        except Exception as error:
            answers[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(len(works))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    return answers


def in_a_thread(work: Callable[[], Any]) -> Any:
    """Do one work on a connection of its own, and wait for it."""
    (answer,) = in_threads(work)
    if isinstance(answer, Exception):
        raise answer
    return answer


def behind_the_guards(statement: str, *values: Any) -> None:
    """Change the database as somebody would who can take the guards down and put them back."""
    with guards.lifted(), connection.cursor() as cursor:
        cursor.execute(statement, values)
        assert cursor.rowcount

"""Any document that passes the checks comes out of the database as it went in; any other is refused in words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings

from registry.access import scope_of_command_line
from registry.canonical import Json, unwritable, write
from registry.documents import completed
from registry.documents.visiting import survey
from registry.models import Case, Site
from registry.recording.exports import export_lines
from registry.terms import UNKNOWN
from tests.commands import command
from tests.strategies import case_documents, mutations

pytestmark = [pytest.mark.data, pytest.mark.django_db]

# Each example is imported and exported, so these get a third of what the rules without a database get.
EXAMPLES = settings(
    max_examples=settings().max_examples // 3,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def imported(path: Path, document: Json) -> tuple[int, str, list[str]]:
    """Status and messages of importing a document on its own, and what is exported then; all taken back again."""
    path.write_bytes(write(document).encode("utf-8", "surrogatepass"))
    before = transaction.savepoint()
    try:
        outcome = command("import_cases", path)
        return outcome.status, outcome.err, list(export_lines(scope_of_command_line()))
    finally:
        transaction.savepoint_rollback(before)


def _name_each_model_apart(document: dict[str, Any]) -> None:
    """So that no two devices of one model are drawn with two classes, which the catalogue refuses."""
    for number, (_, _, thing) in enumerate(survey(document).things):
        if isinstance(thing, dict) and thing.get("model") not in (None, UNKNOWN):
            thing["model"] = f"M-{number}"


@EXAMPLES
@given(document=case_documents())
def test_any_valid_document_comes_out_as_it_went_in(
    document: dict[str, Any], north: Site, tmp_path: Path
) -> None:
    document["site"] = north.code
    _name_each_model_apart(document)
    status, message, lines = imported(tmp_path / "case.json", document)
    assert status == 0, message
    assert lines == [write(completed(document))]


@EXAMPLES
@given(document=mutations(case_documents()))
def test_any_mutation_of_one_is_taken_or_refused_with_a_message(
    document: Json, north: Site, tmp_path: Path
) -> None:
    if isinstance(document, dict) and "site" in document:
        document["site"] = north.code
    status, message, lines = imported(tmp_path / "case.json", document)
    if status:
        assert status == 1
        assert message.strip()
        assert not unwritable(message)
        assert lines == []
        assert not Case.objects.exists()
    else:
        assert lines == [write(completed(document))]

"""De-identified cases as tables, and the codebook of their columns."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from casebook import codebook
from casebook.tables import DERIVED, TABLES, rows_of, text_of, texts_of
from registry import case_fields as fields
from registry.deidentify.case_view import DeidentifiedCase, deidentified
from registry.deidentify.field_policy import DOCUMENT
from registry.deidentify.pseudonyms import Pseudonyms
from registry.deidentify.rules import Treatment
from registry.documents import completed
from registry.documents.sealed_fields import parted
from tests.builders import Document, a_case, a_ladder
from tests.strategies import case_documents

pytestmark = pytest.mark.pure

PSEUDONYMS = Pseudonyms(b"k" * 32)


def view_of(document: Document) -> DeidentifiedCase:
    clear, _ = parted(completed(document))
    return deidentified(clear, code="7G4K2M9TX", pseudonyms=PSEUDONYMS)


def rows(document: Document) -> dict[str, list[dict[str, Any]]]:
    """The rows of each table that has one."""
    found: dict[str, list[dict[str, Any]]] = {}
    for table, row in rows_of(view_of(document)):
        names = [column.name for column in TABLES[table]]
        found.setdefault(table, []).append(dict(zip(names, row, strict=True)))
    return found


def test_every_field_that_the_policy_lets_go_has_its_column_and_no_other() -> None:
    columns = {column.path for table in TABLES.values() for column in table if column.path}
    structure = {
        path
        for path, kind in fields.walk()
        if isinstance(kind, fields.Thing) and path not in ("outcome.death", "outcome.surgery")
    }
    quasi = {"site", "procedure.date", "patient.age", "patient.sex"}
    let_go = {path for path, rule in DOCUMENT.items() if rule.treatment is not Treatment.DROP}
    assert columns == let_go - structure - quasi


def test_no_table_has_a_column_twice() -> None:
    for table, columns in TABLES.items():
        names = [column.name for column in columns]
        assert len(set(names)) == len(names), table


@settings(suppress_health_check=list(HealthCheck))
@given(case_documents())
def test_a_row_has_a_cell_for_each_column_and_a_file_the_text_of_each(document: Document) -> None:
    for table, row in rows_of(view_of(document)):
        told = [text_of(cell) for cell in row]
        assert len(told) == len(TABLES[table])
        file = io.StringIO()
        csv.writer(file).writerow(texts_of(table, row))
        assert next(csv.reader([file.getvalue()])) == told


def test_the_quasi_identifiers_stand_in_the_row_of_the_case() -> None:
    (row,) = rows(a_case(patient={"age": 93, "sex": "female"}))["cases"]
    assert (row["case"], row["site"]) == (PSEUDONYMS.of_case("7G4K2M9TX"), PSEUDONYMS.of_site("north"))
    assert (row["year"], row["age_band"], row["sex"], row["device_class"]) == (
        "2026",
        "90 and over",
        "female",
        "guidewire",
    )


def test_rows_are_tied_to_what_holds_them() -> None:
    device = {"class": "snare_single_loop"}
    second = a_ladder("wire_unravelled: snare_single=unchanged", other_devices=[device])
    second["actions"][0]["devices"] = [device]
    seen = {"status": "seen", "events": [{"event": "death"}]}
    lesion = {"segments": ["2"], "contents": [{"what": "old_stent"}]}
    found = rows(
        a_case(a_ladder("wire_stuck:"), second, lesions=[lesion], follow_up=[{"status": "phoned"}, seen])
    )
    assert [row["complication"] for row in found["other_devices"]] == ["C2"]
    (used,) = found["action_devices"]
    assert (used["complication"], used["position"], used["class"]) == ("C2", 1, "snare_single_loop")
    assert [row["lesion"] for row in found["lesion_contents"]] == ["L1"]
    assert [row["number"] for row in found["follow_up"]] == [1, 2]
    assert [row["follow_up"] for row in found["follow_up_events"]] == [2]


def test_a_count_tells_none_from_not_recorded() -> None:
    (row,) = rows(a_case(injuries=[]))["cases"]
    assert (row["injuries_count"], row["lesions_count"], row["complications_count"]) == (0, None, 1)


def test_a_recorded_death_shows_though_nothing_is_known_of_it() -> None:
    (row,) = rows(a_case(outcome={"death": {"note": "told by his wife"}}))["cases"]
    assert (row["outcome_death_recorded"], row["outcome_surgery_recorded"]) == ("yes", None)


def test_the_counting_rules_stand_beside_what_was_recorded() -> None:
    """Worked set E2 of the counting rules, cut: numbers in the situation and in the complication."""
    ladder = a_ladder(
        "wire_stuck: balloon_beside=worse>wire_unravelled, echo=done, steady_traction=unchanged",
        declined=[{"technique": "snare_single", "reason": "would_lose_wire", "after_position": 0}],
    )
    found = rows(a_case(ladder))
    told = [
        (row["situation_faced"], row["attempt_in_situation"], row["attempt_in_complication"])
        for row in found["actions"]
    ]
    assert told == [
        ("wire_stuck", 1, 1),
        ("wire_unravelled", None, None),
        ("wire_unravelled", 1, 2),
    ]
    (complication,) = found["complications"]
    assert (complication["cause"], complication["acts_counted"], complication["in_curve"]) == (
        "out",
        True,
        True,
    )
    (declined,) = found["declined"]
    assert (declined["situation_faced"], declined["later_tried"]) == ("wire_stuck", False)


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (None, ""),
        (True, "yes"),
        (False, "no"),
        (Decimal("0.36"), "0.36"),
        (Decimal("1E+2"), "100"),
        (Decimal("1E-3"), "0.001"),
        ((), "[]"),
        (("2", "3"), "2;3"),
        ((280, Decimal("0.5")), "280;0.5"),
        ("wire_stuck", "wire_stuck"),
    ],
)
def test_each_value_has_one_form_in_a_file(cell: Any, text: str) -> None:
    assert text_of(cell) == text


def test_the_codebook_has_each_column_once_in_order() -> None:
    said = [(entry[0], entry[1]) for entry in codebook.entries()]
    assert said == [(f"{table}.csv", c.name) for table, columns in TABLES.items() for c in columns]


def test_the_codebook_says_of_each_column_what_it_means_its_type_and_what_the_policy_did() -> None:
    for entry in codebook.entries():
        _, name, meaning, kind, _, policy = entry
        assert meaning and kind and policy, entry
        assert meaning.lower().replace(" ", "_") != name, entry


def test_the_codebook_lists_the_values_of_codes_and_bands() -> None:
    values = {(entry[0], entry[1]): entry[4] for entry in codebook.entries()}
    assert "wire_stuck = " in values["complications.csv", "situation"]
    assert values["cases.csv", "age_band"].startswith("0 to 9; 10 to 19")
    assert values["actions.csv", "minutes_band"].endswith("240 and over; unknown")
    assert "nhlbi_dissection: A = " in values["injuries.csv", "grade"]


def test_no_meaning_is_written_down_that_no_column_has() -> None:
    last = {column.path.rsplit(".", 1)[-1] for table in TABLES.values() for column in table}
    assert codebook.MEANINGS.keys() <= last
    assert codebook.KEYS.keys() <= {column.name for table in TABLES.values() for column in table}
    assert DERIVED.keys() <= TABLES.keys()

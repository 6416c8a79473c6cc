"""Documents and rows: every field has its place, every column its field or its reason, nothing is lost on the way."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal
from itertools import count
from typing import Any

import pytest
from django.db import models as django_models
from hypothesis import given
from hypothesis import strategies as st

from registry import case_fields as fields
from registry import models
from registry.documents import completed
from registry.documents.row_reading import Plan
from registry.documents.rows import Names, NewRow, rows_of
from registry.documents.sealed_fields import parted
from registry.documents.tables import CASE_PART, MODELS, SINGLE_TABLES, Form, Part, tables
from registry.documents.visiting import survey
from registry.models.columns import ListField, Row
from tests.builders import Document, a_case, a_ladder
from tests.strategies import case_documents

KEPT_OTHERWISE = {
    "schema_version": "the version that this program writes",
    "id": "the column document_id",
    "site": "the foreign key site",
}
"""Fields of the case that stand in no column of their own name."""

_COUNTED = {
    "site": "copied from the case, to count by",
    "earliest": "of the procedure's date, to count by",
    "latest": "of the procedure's date, to count by",
    "month": "of the procedure's date, to count by",
}
DERIVED: dict[type[Row], dict[str, str]] = {
    models.Case: {
        "site": "the document's site",
        "document_id": "the document's id",
        "code": "by which the case is known outside",
        "state": "of the case's life",
        "version": "the number of the last version",
        "erased": "of the case's life",
    },
    models.Complication: {
        **_COUNTED,
        "counted": "of the case's life",
        "acts_counted": "R11",
        "in_device_rate": "R12",
        "cause": "R10",
        "in_curve": "R10",
        "attempts": "R4",
    },
    models.Action: {
        **_COUNTED,
        "situation_faced": "R1",
        "considered_for": "R11",
        "acts_counted": "R11",
        "ends_attempt": "R4",
        "attempt_result": "R4",
        "attempt_in_situation": "R7",
        "attempt_in_complication": "R7",
        "attempt_minutes": "R4",
        "with_injury": "R9",
        "with_new_complication": "R9",
    },
    models.DeclinedOption: {
        **_COUNTED,
        "considered_for": "R11",
        "later_tried": "R11",
        "also_tried": "R11",
        "acts_counted": "R11",
    },
}
"""Columns that hold no field of the document, each with its rule or reason."""

ADMINISTRATIVE = {"id", "case", "index", "unknown", "empty"}
"""Columns that every row has for being a row: its key, its case, its place, its unknown fields and empty lists."""


def _columns_of(part: Part, path: str) -> Iterator[tuple[str, str]]:
    """The fields of an object and of those inside it: path and column."""
    for column in part.columns:
        yield f"{path}{column.field}", column.column
    for name, inner in part.inside:
        yield from _columns_of(inner, f"{path}{name}.")


def _places(part: Part, model: type[Row], path: str) -> Iterator[tuple[str, type[Row], str]]:
    """Every field below a part: path, model and column; of lists of objects, path and model."""
    for place, column in _columns_of(part, path):
        yield place, model, column
    yield from _lists(part, path)
    if part is CASE_PART:
        for name, table in SINGLE_TABLES.items():
            yield name, table.model, ""
            yield from _places(table.part, table.model, f"{name}.")


def _lists(part: Part, path: str) -> Iterator[tuple[str, type[Row], str]]:
    for name, _, table in part.lists:
        yield f"{path}{name}", table.model, ""
        yield from _places(table.part, table.model, f"{path}{name}[].")
    for name, inner in part.inside:
        yield f"{path}{name}", models.Case, ""
        yield from _lists(inner, f"{path}{name}.")


PLACES = list(_places(CASE_PART, models.Case, ""))


@pytest.mark.parametrize(("path", "kind"), fields.walk(), ids=[path for path, _ in fields.walk()])
def test_every_field_has_a_column_or_a_table_or_is_sealed(path: str, kind: fields.Field) -> None:
    found = [(model, column) for place, model, column in PLACES if place == path]
    if fields.sealed(kind) or path in KEPT_OTHERWISE:
        assert not found
        return
    ((model, column),) = found
    of_objects = isinstance(kind.item if isinstance(kind, fields.List) else kind, fields.Thing)
    assert bool(column) is not of_objects
    if isinstance(kind, fields.Date):
        assert model._meta.get_field(f"{column}_earliest") and model._meta.get_field(f"{column}_latest")
    elif column:
        _fits(model._meta.get_field(column), kind)


def _fits(column: Any, kind: fields.Field) -> None:
    if isinstance(kind, fields.List):
        assert isinstance(column, ListField)
    elif isinstance(kind, fields.Person | fields.Model):
        assert column.related_model is (
            models.Staff if isinstance(kind, fields.Person) else models.DeviceModel
        )
    elif isinstance(kind, fields.Number):
        assert isinstance(column, django_models.IntegerField if kind.whole else django_models.DecimalField)
    elif isinstance(kind, fields.Position):
        assert isinstance(column, django_models.PositiveSmallIntegerField)
    else:
        assert isinstance(column, django_models.CharField | django_models.TextField)


def test_what_stands_in_the_rows_is_a_field_or_the_number_of_a_model() -> None:
    known = {path for path, _ in fields.walk()}
    assert {path for path, *_ in PLACES} - known == {
        path.removesuffix("udi") + "gtin" for path, _ in fields.walk() if path.endswith(".udi")
    }


@pytest.mark.parametrize("model", [models.Case, *MODELS], ids=lambda model: model.__name__)
def test_every_column_is_a_field_or_has_its_reason(model: type[Row]) -> None:
    filled = {column for _, where, column in PLACES if where is model and column}
    filled |= {f"{column}_{end}" for column in filled for end in ("earliest", "latest")}
    hangs_on = {table.parent for table in tables() if table.model is model}
    strange = {column.name for column in model._meta.concrete_fields} - filled - ADMINISTRATIVE - hangs_on
    assert strange == set(DERIVED.get(model, {}))


class _Held:
    """Unsaved rows with keys of their own, as if read from a database."""

    def __init__(self, document: Document) -> None:
        self.clear, _ = parted(completed(document))
        seen = survey(document)
        staff = sorted({value for *_, value in seen.values[fields.Person]})
        devices = sorted({value for *_, value in seen.values[fields.Model]})
        names = Names({code: n for n, code in enumerate(staff)}, {code: n for n, code in enumerate(devices)})
        columns, new = rows_of(self.clear, names)
        site = models.Site(pk=1, code=self.clear["site"])
        self.case: Any = models.Case(pk=1, site=site, document_id=self.clear["id"], **columns)
        self.rows: dict[type[Row], dict[int, list[Any]]] = {model: defaultdict(list) for model in MODELS}
        self._keys = count(1)
        for row in new:
            self._keep(row, {"case_id": 1})
        self._codes = {
            models.Staff: {n: code for code, n in names.staff.items()},
            models.DeviceModel: {n: code for code, n in names.models.items()},
        }
        self.read = self.read_by(Plan(None))

    def read_by(self, plan: Plan) -> Document:
        """The document by a plan, from what a database would give of the rows."""
        held = []
        for read in plan.tables:
            rows: dict[int, list[Any]] = defaultdict(list)
            of_action = read.table.parent == "action"
            for row in self.rows[read.table.model][1]:
                if not isinstance(row, models.InvolvedDevice) or of_action is (row.action_id is not None):
                    values = self._values(row, read.columns)
                    rows[values[1]].append(values)
            held.append(rows)
        return plan.document(self._values(self.case, plan.columns), held)

    def _values(self, row: Any, columns: tuple[str, ...]) -> tuple[Any, ...]:
        return tuple(self._value(row, column) for column in columns)

    def _value(self, row: Any, column: str) -> Any:
        name, _, of_related = column.partition("__")
        if name == "pk":
            return row.pk
        kind = row._meta.get_field(name)
        value = getattr(row, kind.attname)
        if of_related and isinstance(row, models.Case):
            return row.site.code
        if of_related:
            return self._codes[kind.related_model].get(value)
        return kind.get_prep_value(value) if isinstance(kind, ListField) else value

    def _keep(self, new: NewRow, holders: dict[str, int]) -> None:
        new.row.pk = next(self._keys)
        for name, key in holders.items():
            if hasattr(new.row, name):
                setattr(new.row, name, key)
        self.rows[type(new.row)][1].append(new.row)
        for parent, hanging in new.hanging:
            self._keep(hanging, {**holders, f"{parent}_id": new.row.pk})


@given(case_documents())
def test_a_document_laid_out_in_rows_is_read_from_them_unchanged(document: Document) -> None:
    held = _Held(document)
    assert held.read == held.clear


@given(case_documents(), st.sets(st.sampled_from([path for path, _ in fields.walk()])))
def test_what_is_not_wanted_is_not_read_and_the_rest_is_as_it_was(
    document: Document, wanted: set[str]
) -> None:
    held = _Held(document)
    expected = [
        (path, value)
        for path, value in leaves(held.clear)
        if any(name == path or name.startswith(f"{path}[].") for name in wanted)
    ]
    assert list(leaves(held.read_by(Plan(frozenset(wanted))))) == expected


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a document that holds no object, by the path of its field, in the order of the paths."""
    if isinstance(value, dict):
        for name in sorted(value):
            yield from leaves(value[name], f"{path}.{name}" if path else name)
    elif isinstance(value, list) and any(isinstance(item, dict) for item in value):
        for item in value:
            yield from leaves(item, f"{path}[]")
    else:
        yield path, value


@given(case_documents())
def test_every_value_fits_its_column(document: Document) -> None:
    held = _Held(document)
    for row in [held.case, *(row for rows in held.rows.values() for row in rows[1])]:
        for column in row._meta.concrete_fields:
            value = getattr(row, column.attname)
            if (
                value is not None
                and not isinstance(column, ListField | django_models.ForeignKey)
                and value != ""
            ):
                column.clean(value, row)


def test_unknown_numbers_people_and_models_are_named_by_the_row() -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction@unknown", device={"class": "guidewire", "model": "unknown"}
    )
    ladder["actions"][0]["by"] = "unknown"
    held = _Held(a_case(ladder, patient={"age": "unknown", "sex": "unknown"}))
    assert held.case.unknown == ["patient_age"]
    assert (held.case.patient_age, held.case.patient_sex) == (None, "unknown")
    assert held.rows[models.Complication][1][0].unknown == ["device_model"]
    assert held.rows[models.Action][1][0].unknown == ["minutes", "by"]


def test_empty_lists_and_absent_ones_are_told_apart() -> None:
    ladder = a_ladder("wire_stuck:", fragments=[], mechanisms=[])
    held = _Held(a_case(ladder, injuries=[], procedure={"date": "2026-03", "access": [], "act_seconds": []}))
    assert held.case.empty == ["procedure_access", "injuries"]
    assert held.case.procedure_act_seconds == []
    complication = held.rows[models.Complication][1][0]
    assert sorted(complication.empty) == ["actions", "fragments"]
    assert (complication.mechanisms, complication.segments) == ([], None)


def test_a_death_with_nothing_but_a_note_is_still_there() -> None:
    held = _Held(a_case(outcome={"death": {"note": "from a letter"}}))
    assert held.rows[models.Outcome][1][0].empty == ["death"]
    assert held.read["outcome"] == {"death": {}}


def test_a_partly_known_date_is_kept_as_its_first_and_last_day() -> None:
    case = _Held(a_case(procedure={"date": "2026-02"})).case
    assert f"{case.procedure_date_earliest} {case.procedure_date_latest}" == "2026-02-01 2026-02-28"


def test_numbers_stay_exact_in_lists_of_numbers() -> None:
    held = _Held(a_case(procedure={"date": "2026", "act_seconds": [Decimal("285.125"), "unknown", 3]}))
    column = models.Case._meta.get_field("procedure_act_seconds")
    assert isinstance(column, ListField)
    text = column.get_prep_value(held.case.procedure_act_seconds)
    assert text == '[285.125,"unknown",3]'
    assert column.from_db_value(text, None, None) == [Decimal("285.125"), "unknown", 3]


def test_devices_of_actions_and_of_the_complication_are_not_mixed() -> None:
    ladder = a_ladder("wire_stuck: balloon_beside", other_devices=[{"class": "sheath"}])
    ladder["actions"][0]["devices"] = [{"class": "balloon_semi_compliant"}]
    assert _Held(a_case(ladder)).read["complications"][0] == ladder


def test_each_form_of_column_is_used() -> None:
    used = {column.form for table in tables() for column in table.part.columns}
    assert used == set(Form)

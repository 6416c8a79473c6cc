"""No field leaves unjudged: the policy knows every field of the document and every column, and no other."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.apps import apps

from registry import case_fields as fields
from registry.deidentify.column_policy import COLUMNS
from registry.deidentify.field_policy import DOCUMENT, policy_version
from registry.deidentify.rules import Form, Rule, Treatment, drop, keep, laid_out
from registry.documents import tables

pytestmark = pytest.mark.pure

KINDS = dict(fields.walk())


def innermost(kind: fields.Field) -> fields.Field:
    return kind.item if isinstance(kind, fields.List) else kind


def fields_of(*kinds: type[fields.Field]) -> dict[str, Rule]:
    return {path: DOCUMENT[path] for path, kind in KINDS.items() if isinstance(innermost(kind), kinds)}


def columns_of_models() -> set[str]:
    return {
        f"{model._meta.label}.{field.name}"
        for model in apps.get_models(include_auto_created=True)
        for field in model._meta.concrete_fields
    }


def stored(part: tables.Part, model: type, path: str) -> Iterator[tuple[str, str]]:
    """Each column of a table with the path of the field that it holds."""
    label = model._meta.label  # type: ignore[attr-defined]
    for column in part.columns:
        names = [column.column]
        if column.form is tables.Form.DATE:
            names = [f"{column.column}_earliest", f"{column.column}_latest"]
        for name in names:
            # The device identifier that a GTIN column holds is read from the UDI.
            yield f"{label}.{name}", f"{path}{'udi' if column.field == 'gtin' else column.field}"
    for name, inner in part.inside:
        yield from stored(inner, model, f"{path}{name}.")
    for name, _, table in part.lists:
        yield from stored(table.part, table.model, f"{path}{name}[].")


def all_stored() -> Iterator[tuple[str, str]]:
    yield from stored(tables.CASE_PART, apps.get_model("registry.Case"), "")
    for name, table in tables.SINGLE_TABLES.items():
        yield from stored(table.part, table.model, f"{name}.")


def test_every_field_of_the_document_is_classified() -> None:
    assert sorted(KINDS.keys() - DOCUMENT.keys()) == []


def test_no_field_is_classified_that_the_document_has_not() -> None:
    assert sorted(DOCUMENT.keys() - KINDS.keys()) == []


def test_every_column_of_every_model_is_classified() -> None:
    assert sorted(columns_of_models() - COLUMNS.keys()) == []


def test_no_column_is_classified_that_no_model_has() -> None:
    assert sorted(COLUMNS.keys() - columns_of_models()) == []


def test_a_column_is_treated_as_the_field_that_it_holds() -> None:
    held = dict(all_stored())
    assert len(held) > 200
    differing = {
        column: (str(COLUMNS[column].treatment), str(DOCUMENT[path].treatment))
        for column, path in held.items()
        if (COLUMNS[column].treatment, COLUMNS[column].form)
        != (DOCUMENT[path].treatment, DOCUMENT[path].form)
    }
    assert differing == {}


def test_what_is_dropped_says_why() -> None:
    rules = {**DOCUMENT, **COLUMNS}
    assert [
        name for name, rule in rules.items() if rule.treatment is Treatment.DROP and not rule.reason
    ] == []


def test_what_is_coarsened_says_into_what() -> None:
    rules = {**DOCUMENT, **COLUMNS}
    assert [n for n, rule in rules.items() if (rule.treatment is Treatment.COARSEN) != bool(rule.form)] == []


def test_typed_text_identifiers_people_models_and_clocks_never_leave() -> None:
    never = fields_of(fields.Text, fields.Identifier, fields.Person, fields.Model, fields.Clock)
    assert len(never) > 60
    assert {rule.treatment for rule in never.values()} == {Treatment.DROP}


def test_of_names_only_the_version_of_the_words_leaves_as_it_is() -> None:
    names = fields_of(fields.Name)
    kept = [path for path, rule in names.items() if rule.treatment is not Treatment.DROP]
    assert kept == ["vocabulary_version", "site"]
    assert names["site"].form is Form.PSEUDONYM


def test_of_dates_the_procedures_leaves_as_a_year_and_all_others_as_days() -> None:
    dates = fields_of(fields.Date)
    assert dates.pop("procedure.date").form is Form.YEAR
    assert len(dates) > 8
    assert {rule.treatment for rule in dates.values()} == {Treatment.SHIFT}


def test_nothing_but_dates_is_shifted() -> None:
    assert {path for path, rule in DOCUMENT.items() if rule.treatment is Treatment.SHIFT} <= set(
        fields_of(fields.Date)
    )


def test_refs_are_numbered_anew() -> None:
    refs = fields_of(fields.Label, fields.Reference)
    assert {rule.form for rule in refs.values()} == {Form.NUMBERED}


def test_ages_and_minutes_leave_in_bands() -> None:
    assert DOCUMENT["patient.age"].form is Form.AGE_BAND
    minutes = {path for path, kind in KINDS.items() if "minute" in path.rsplit(".", 1)[-1]}
    assert len(minutes) == 4
    assert {DOCUMENT[path].form for path in minutes} == {Form.TIME_BAND, Form.DURATION_BAND}


def test_another_rule_makes_another_version_of_the_policy(monkeypatch: pytest.MonkeyPatch) -> None:
    before = policy_version()
    assert before == policy_version()
    monkeypatch.setitem(DOCUMENT, "procedure.kind", Rule(Treatment.DROP, reason="for the test"))
    assert policy_version() != before


def test_a_field_classified_twice_is_refused() -> None:
    with pytest.raises(ValueError, match=r"procedure\.kind is classified twice"):
        laid_out({"procedure": (keep("kind"), drop("kind", "no reason"))}, ".")

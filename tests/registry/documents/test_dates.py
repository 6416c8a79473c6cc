"""Rules about the dates of a document: what may lie in the future, and what cannot come before the procedure."""

from __future__ import annotations

import datetime
from typing import Any

import pytest

from registry import case_fields as fields
from registry.documents import findings
from tests.builders import TODAY, Document, a_case, changed, questions_of, refusals_of

PAST_ONLY = {
    "procedure.date": "{}",
    "duties": [{"aware": "{}"}],
    "duties[].done": [{"done": "{}"}],
    "follow_up": [{"date": "{}"}],
    "follow_up[].events": [{"events": [{"date": "{}"}]}],
}
PLANNED = {
    "antiplatelet_plan": {"drugs": [{"start": "{}", "stop": "{}", "do_not_stop_before": "{}"}]},
    "antiplatelet_plan.anticoagulant": {"start": "{}", "stop": "{}"},
    "antiplatelet_plan.review_dates": ["{}"],
    "duties": [{"due": "{}"}],
}


def _filled(value: Any, date: str) -> Any:
    if isinstance(value, dict):
        return {key: _filled(inner, date) for key, inner in value.items()}
    return [_filled(item, date) for item in value] if isinstance(value, list) else value.format(date)


def with_date(path: str, value: Any, date: str) -> Document:
    """A case with that date at a place."""
    return changed(a_case(), path.split("[]", maxsplit=1)[0], _filled(value, date))


def test_the_future_is_allowed_for_plan_review_and_due_dates_only() -> None:
    dates = {path: kind for path, kind in fields.walk() if isinstance(kind, fields.Date)}
    assert {path for path, kind in dates.items() if not kind.future} == {
        "procedure.date",
        "duties[].aware",
        "duties[].done",
        "follow_up[].date",
        "follow_up[].events[].date",
    }


@pytest.mark.parametrize(("path", "value"), PAST_ONLY.items())
@pytest.mark.parametrize(
    ("date", "is_refused"), [("2026-06-30", False), ("2026-07-01", True), ("2026-07", True), ("2027", True)]
)
def test_the_future_is_refused_elsewhere(path: str, value: Any, date: str, is_refused: bool) -> None:
    found = refusals_of(with_date(path, value, date))
    assert [finding.value for finding in found] == [date] * is_refused
    assert all(finding.allowed == "up to today, 2026-06-30" for finding in found)


@pytest.mark.parametrize(("path", "value"), PAST_ONLY.items())
@pytest.mark.parametrize("date", ["2026-06", "2026"])
def test_a_partly_known_date_is_refused_only_where_all_of_it_lies_in_the_future(
    path: str, value: Any, date: str
) -> None:
    assert not refusals_of(with_date(path, value, date))


@pytest.mark.parametrize(("path", "value"), PLANNED.items())
def test_what_is_planned_or_due_may_lie_in_the_future(path: str, value: Any) -> None:
    assert not findings(with_date(path, value, "2030-01-01"), TODAY)


def test_today_is_the_sites_own() -> None:
    document = a_case(procedure={"date": "2026-06-30"})
    assert not findings(document, datetime.date(2026, 6, 30))
    assert [finding.path for finding in findings(document, datetime.date(2026, 6, 29))] == ["procedure.date"]


@pytest.mark.parametrize("value", [[{"date": "{}"}], [{"events": [{"date": "{}"}]}]])
@pytest.mark.parametrize(
    ("date", "is_refused"),
    [
        ("2026-03-13", True),
        ("2026-02", True),
        ("2025", True),
        ("2026-03-14", False),
        ("2026-03", False),
        ("2026", False),
    ],
)
def test_a_follow_up_before_the_procedure_is_refused(value: Any, date: str, is_refused: bool) -> None:
    found = refusals_of(with_date("follow_up", value, date))
    assert [finding.says for finding in found] == ["before the procedure of 2026-03-14"] * is_refused


@pytest.mark.parametrize(
    ("date", "is_refused"), [("2026-02-28", True), ("2026-03-01", False), ("2026", False)]
)
def test_a_partly_known_procedure_may_have_been_on_its_first_day(date: str, is_refused: bool) -> None:
    document = a_case(procedure={"date": "2026-03"}, follow_up=[{"date": date}])
    assert bool(refusals_of(document)) is is_refused


@pytest.mark.parametrize(
    ("path", "value", "where"),
    [
        (
            "antiplatelet_plan",
            {"drugs": [{"start": "2026-04-01", "stop": "2026-03-31"}]},
            "antiplatelet_plan.drugs[0].stop",
        ),
        (
            "antiplatelet_plan",
            {"anticoagulant": {"start": "2026-04", "stop": "2026-03"}},
            "antiplatelet_plan.anticoagulant.stop",
        ),
        ("duties", [{"aware": "2026-04-01", "due": "2026-03-31"}], "duties[0].due"),
        (
            "duties",
            [{"aware": "2026-04-01", "done": "2026"}, {"aware": "2026", "done": "2025"}],
            "duties[1].done",
        ),
    ],
)
def test_an_end_before_its_start_is_asked_about(path: str, value: Any, where: str) -> None:
    assert [finding.path for finding in questions_of(changed(a_case(), path, value))] == [where]


def test_a_stop_in_the_month_of_the_start_is_not_asked_about() -> None:
    plan = {"drugs": [{"start": "2026-04-20", "stop": "2026-04"}]}
    assert not findings(a_case(antiplatelet_plan=plan), TODAY)

"""The columns that figures are counted on equal what the exported documents say by a second reading of the rules."""

from __future__ import annotations

import datetime
import json
from decimal import Decimal
from typing import Any

import pytest

from registry.models import Action, Case, Complication, DeclinedOption
from registry.recording.cases import set_state
from registry.recording.exports import export_lines
from registry.terms import CaseState
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, take
from tests.analytics.invented import SITES, invented_cases

pytestmark = [pytest.mark.data, pytest.mark.django_db]

Values = dict[str, Any]


@pytest.fixture
def cases(db: None) -> list[Values]:
    add_sites(*SITES)
    take(*invented_cases(900, seed=5))
    return [json.loads(line) for line in export_lines(EVERYTHING)]


def rows_of(model: Any, *names: str) -> dict[tuple[Any, ...], Values]:
    """Rows by site, id and their places in the document; the named columns and the days."""
    below = model is not Complication
    place = ("complication__index", "index") if below else ("index",)
    keys = ("case__site__code", "case__document_id", *place)
    columns = ("site__code", "earliest", "latest", "month", *names)
    return {
        tuple(row[key] for key in keys): {column: row[column] for column in columns}
        for row in model.objects.values(*keys, *columns)
    }


def days(case: Values) -> Values:
    first, last = (datetime.date.fromisoformat(day) for day in recount.days(case["procedure"]["date"]))
    month = first.replace(day=1) if len(case["procedure"]["date"]) > 4 else None
    return {"site__code": case["site"], "earliest": first, "latest": last, "month": month}


def complications(cases: list[Values]) -> list[tuple[tuple[Any, ...], Values, Values]]:
    """Each complication with its case and its key."""
    return [
        ((case["site"], case["id"], number), case, one)
        for case in cases
        for number, one in enumerate(case["complications"])
    ]


def test_columns_of_complications(cases: list[Values]) -> None:
    expected = {}
    for key, case, one in complications(cases):
        cause = recount.cause(one)
        expected[key] = {
            **days(case),
            "counted": True,
            "acts_counted": recount.why_not(case, one) is None,
            "in_device_rate": case["procedure"].get("kind") != "none_found_later"
            and (one.get("began") or {}).get("where") in (None, "here"),
            "cause": "censored" if cause == "open" else cause,
            "in_curve": recount.why_not_in_curve(case, one) is None,
            "attempts": len(recount.attempts(one)),
        }
    assert rows_of(Complication, *list(next(iter(expected.values())))[4:]) == expected


def minutes(complication: Values, at: set[int]) -> Decimal | None:
    known = [
        Decimal(str(action["minutes"]))
        for action in complication["actions"]
        if action["position"] in at and action.get("minutes") not in (None, "unknown")
    ]
    return sum(known, Decimal(0)) if known else None


def attempt_columns(case: Values, complication: Values) -> dict[int, Values]:
    """By the position of its last try what the row says of each attempt."""
    injured, led_on = (recount.harmed(case, complication, what) for what in ("injuries", "complications"))
    return {
        max(one.at): {
            "ends_attempt": True,
            "attempt_result": one.result,
            "attempt_in_situation": one.number,
            "attempt_in_complication": number,
            "attempt_minutes": minutes(complication, one.at),
            "with_injury": bool(one.at & injured),
            "with_new_complication": bool(one.at & led_on),
        }
        for number, one in enumerate(recount.attempts(complication), start=1)
    }


NO_ATTEMPT = {
    "ends_attempt": False,
    "attempt_result": None,
    "attempt_in_situation": None,
    "attempt_in_complication": None,
    "attempt_minutes": None,
    "with_injury": False,
    "with_new_complication": False,
}


def test_columns_of_actions(cases: list[Values]) -> None:
    expected = {}
    for key, case, one in complications(cases):
        attempts = attempt_columns(case, one)
        faced, keys = recount.faced_at(one), recount.rung_keys(case, one)
        for index, action in enumerate(recount.in_order(one)):
            expected[*key, index] = {
                **days(case),
                "situation_faced": faced[index],
                "considered_for": keys[index],
                "acts_counted": recount.why_not(case, one) is None,
                **attempts.get(action["position"], NO_ATTEMPT),
            }
    names = ("situation_faced", "considered_for", "acts_counted", *NO_ATTEMPT)
    assert rows_of(Action, *names) == expected


def test_columns_of_declined_options(cases: list[Values]) -> None:
    expected = {}
    for key, case, one in complications(cases):
        techniques = [action.get("technique") for action in recount.in_order(one)]
        tried = set(zip(techniques, recount.rung_keys(case, one), strict=True))
        for index, (option, kind, again) in enumerate(recount.declined_keys(case, one)):
            expected[*key, index] = {
                **days(case),
                "considered_for": kind,
                "later_tried": again,
                "also_tried": (option.get("technique"), kind) in tried,
                "acts_counted": recount.why_not(case, one) is None,
            }
    names = ("considered_for", "later_tried", "also_tried", "acts_counted")
    assert rows_of(DeclinedOption, *names) == expected


def test_nothing_of_a_withdrawn_case_is_counted(cases: list[Values]) -> None:
    flags: dict[Any, tuple[str, ...]] = {
        Complication: ("counted", "acts_counted", "in_device_rate", "in_curve"),
        Action: ("acts_counted",),
        DeclinedOption: ("acts_counted",),
    }
    for case in Case.objects.select_related("site")[:40]:
        set_state(case, CaseState.WITHDRAWN, version=1, reason="r", by=None, source="command")
    for model, names in flags.items():
        withdrawn = model.objects.filter(case__state=CaseState.WITHDRAWN)
        assert withdrawn.exists()
        for name in names:
            assert not withdrawn.filter(**{name: True}).exists()

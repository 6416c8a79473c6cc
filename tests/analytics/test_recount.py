"""Every figure equals a recount of the exported documents in plain Python, whatever was done to the cases before."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable
from typing import Any

import numpy as np
import pytest

from analytics import cohorts, summaries
from analytics.answers import LeftOut
from analytics.cohorts import Filters
from registry.access import Scope
from registry.models import Case
from registry.partial_dates import span
from registry.recording.cases import amend_case, set_state
from registry.recording.exports import export_lines
from registry.recording.undoing import undo_import
from registry.terms import CaseState
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, rows, take, uses
from tests.analytics.invented import CLASSES, SITES, invented_cases, invented_uses

pytestmark = [pytest.mark.data, pytest.mark.django_db]

FILTERS: list[tuple[list[str], str | None, str | None]] = [
    ([], None, None),
    ([], "2024-05", None),
    ([], "2024-03", "2024-03"),
    ([], None, "2025-06"),
    (["elan-2"], None, None),
    (["north", "South"], "2024-11", "2025-02"),
]
NOT_COUNTS = {"lower", "upper", "rate_per_1000"}


@pytest.fixture
def sites(db: None) -> None:
    add_sites(*SITES)
    catalogue(*(f"Maker,{model},A name,{device_class}" for model, device_class in CLASSES.items()))
    uses(*(f"{site},{model},{month},{n}" for (site, model, month), n in invented_uses(1).items()))


def exported() -> list[dict[str, Any]]:
    return [json.loads(line) for line in export_lines(EVERYTHING)]


def counts(question: str, *options: str) -> list[list[str]]:
    """What `answers` prints without rates and limits."""
    return [
        [cell for column, cell in row.items() if column not in NOT_COUNTS] for row in rows(question, *options)
    ]


def numbers(left_out: Iterable[LeftOut], of: str = "complications") -> Counter[str]:
    return Counter({str(one.reason): one.count for one in left_out if one.of == of})


def check_all() -> None:
    """Every question with every filter against the recount."""
    everything = exported()
    for listed, since, until in FILTERS:
        period = (recount.days(since)[0] if since else "0000", recount.days(until)[1] if until else "9999")
        cases = [case for case in everything if not listed or case["site"] in listed]
        opened = {key: n for key, n in invented_uses(1).items() if not listed or key[0] in listed}
        options = [word for code in listed for word in ("--site", code)]
        options += [
            word for name, day in (("--since", since), ("--until", until)) if day for word in (name, day)
        ]
        assert counts("techniques", *options) == recount.techniques(cases, period)
        by_attempt = recount.techniques(cases, period, by_attempt=True)
        assert counts("techniques", "--by-attempt", *options) == by_attempt
        assert counts("endings", *options) == recount.endings(cases, period)
        assert counts("considered", *options) == recount.considered(cases, period)
        assert counts("devices", *options) == recount.devices(cases, opened, CLASSES, period)
        filters = Filters(span(since) if since else None, span(until) if until else None)
        check_beside(cases, period, EVERYTHING.narrowed(listed), filters)


def check_beside(cases: list[dict[str, Any]], period: recount.Period, scope: Scope, filters: Filters) -> None:
    """The curve, and what is left out for which reason."""
    found = Counter(
        {
            (row["attempts"], "open" if row["cause"] == "censored" else row["cause"]): row["number"]
            for row in cohorts.curve(scope, filters)
        }
    )
    assert found == recount.curve(cases, period)
    for answer, why in (
        (summaries.techniques, recount.why_not),
        (summaries.considered, recount.why_not),
        (summaries.endings, recount.why_not_ended),
        (summaries.curve, recount.why_not_in_curve),
    ):
        assert numbers(answer(scope, filters).left_out) == recount.left_out(cases, why, period)


def test_the_figures_of_2000_cases_equal_a_recount(sites: None) -> None:
    take(*invented_cases(2_000, seed=1))
    assert len(exported()) == 2_000
    check_all()


def test_invented_cases_hold_all_that_could_be_miscounted(sites: None) -> None:
    """Else the recount would prove little."""
    take(*invented_cases(600, seed=2))
    cases = exported()
    techniques = np.array([row[:1] + row[3:] for row in recount.techniques(cases)])
    assert {"", "unknown", "other"} < set(techniques[:, 0])
    assert all(techniques[:, 1:].astype(int).sum(axis=0) > 0)
    endings = np.array([row[1:] for row in recount.endings(cases)], dtype=int)
    assert all(endings.sum(axis=0) > 0)
    devices = np.array([row[2:] for row in recount.devices(cases, invented_uses(1), CLASSES)], dtype=int)
    assert all(devices.sum(axis=0) > 0)
    considered = np.array([row[2:] for row in recount.considered(cases)], dtype=int)
    assert all(considered.sum(axis=0) > 0)
    assert any("tamponade" in row for row in recount.considered(cases))
    assert set(recount.left_out(cases, recount.why_not_in_curve)) == {
        "short_record",
        "actions_not_all_known",
        "actions_not_recorded",
        "ending_without_cause",
        "act_with_another",
    }


def test_the_figures_equal_a_recount_after_amending_withdrawing_and_taking_back(sites: None) -> None:
    first = invented_cases(240, seed=3)
    take(*first)
    other = {(case["site"], case["id"]): case for case in invented_cases(300, seed=4)}
    amended = [other[case["site"], case["id"]] for case in first[:60]]
    take(*amended, amend="another abstraction")
    check_all()
    batch = take(*list(other.values())[60:], amend="a third").batch
    check_all()
    assert batch is not None
    undo_import(batch, reason="the wrong file", by=None)
    assert len(exported()) == 240
    check_all()
    there = list(Case.objects.select_related("site").order_by("pk"))
    for case in there[:20]:
        _set(case, CaseState.WITHDRAWN)
    for case in there[10:20]:
        case.refresh_from_db()
        _set(case, CaseState.SUBMITTED)
    for case in there[20:30]:
        _set(case, CaseState.LOCKED)
    for case in there[30:40]:
        document = other[case.site.code, case.document_id]
        amend_case(case, document, version=case.version, reason="on a page", by=None)
    assert len(exported()) == 230
    check_all()


def _set(case: Case, state: CaseState) -> None:
    set_state(case, state, version=case.version, reason="a reason", by=None, source="command")

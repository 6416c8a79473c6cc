"""Home tells what is late, due or missing, the near before the far, and where to log a case."""

from __future__ import annotations

import datetime
from typing import Any

import pytest

from registry.models import Case, Staff
from registry.needs import MOST, all_due, needs_you
from registry.recording.cases import submit_case
from registry.recording.sites import add_site, give_role
from registry.terms import CaseState, Role
from tests.analytics.page_reading import a_member, shown
from tests.builders import a_case

pytestmark = pytest.mark.django_db

TODAY = datetime.date(2026, 6, 30)


def a_duty(due: str, **more: str) -> dict[str, str]:
    return {"kind": "tell_patient", "due": due, "owner": "p-1", **more}


def test_the_latest_of_what_is_late_come_first_and_the_rest_is_counted() -> None:
    site = add_site("north", "North", by=None)
    director = give_role("d@north.example", site, Role.LAB_DIRECTOR, by=None)
    duties = [a_duty(f"2026-05-{day:02d}") for day in range(1, 12)]
    submit_case(
        a_case(
            duties=[
                *duties,
                a_duty("2026-07-02"),
                a_duty("2026-09-01"),
                a_duty("2026-05-30", done="2026-05-30"),
            ]
        ),
        by=None,
    )
    late, soon, _ = needs_you(director, TODAY).groups
    assert late.title == f"Late, or due today: {MOST} of 11, the latest first"
    assert [row.when for row in late.rows[:2]] == ["11 May 2026", "10 May 2026"]
    assert (late.rows[0].state, late.rows[0].mark) == ("50 days late", "late")
    assert [(row.when, row.state) for row in soon.rows] == [("2 Jul 2026", "in 2 days")]


def test_each_list_that_home_cuts_has_a_page_with_all_of_it_the_longest_late_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("registry.needs.PAGE", 6)
    site = add_site("north", "North", by=None)
    director = give_role("d@north.example", site, Role.LAB_DIRECTOR, by=None)
    late = [a_duty(f"2026-05-{day:02d}") for day in range(1, 16)]
    coming = [a_duty(f"2026-07-{day:02d}") for day in range(1, 10)]
    drugs = [{"agent": "aspirin", "do_not_stop_before": "2026-07-05"}]
    submit_case(a_case(duties=[*late, *coming], antiplatelet_plan={"drugs": drugs}), by=None)
    needs = needs_you(director, TODAY)
    assert needs.summary.startswith("15 things are late or due today; 10 in the next two weeks")
    first, soon, _ = needs.groups
    assert soon.title == "In the next two weeks: 9 of 10"
    assert [address for group in (first, soon) for address, _ in group.links] == [
        "/today/late/",
        "/today/duties/",
    ]
    pages = [all_due(director, TODAY, "late", number) for number in (1, 2, 3, 4)]
    assert [len(page.rows) for page in pages] == [6, 6, 3, 0]
    assert [page.more for page in pages] == [True, True, False, False]
    assert [row.when for page in pages for row in page.rows] == [f"{day} May 2026" for day in range(1, 16)]
    assert len(all_due(director, TODAY, "plans", 1).rows) == 1


@pytest.mark.parametrize("typed", ["", "2", "0", "-1", "1.5", "x", "9" * 30, "\0"])
def test_the_page_of_all_that_is_late_takes_any_number_of_a_page(typed: str) -> None:
    add_site("north", "North", by=None)
    submit_case(a_case(duties=[a_duty("2026-05-01")]), by=None)
    client = a_member("north")
    page = shown(client, "/today/late/", {"page": typed})
    assert ("Duty: tell" in page) is (typed != "2")
    assert ("Earlier ones" in page) is (typed == "2")
    assert "For trained teams" in page
    assert client.get("/today/never/").status_code == 404


def test_a_duty_that_is_not_owed_or_met_is_not_shown_and_my_own_say_so() -> None:
    site = add_site("north", "North", by=None)
    operator = give_role("o@north.example", site, Role.OPERATOR, by=None)
    duties = [
        a_duty("2026-06-30"),
        a_duty("2026-06-01", decided="not_owed"),
        a_duty("2026-06-02", decided="met"),
    ]
    submit_case(a_case(duties=duties), by=None)
    Staff.objects.filter(code="p-1").update(person=operator)
    (row,) = needs_you(operator, TODAY).groups[0].rows
    assert row.state == "due today"
    assert "Owner: you." in row.why


def test_duties_of_another_site_are_nobodys_here() -> None:
    south = add_site("south", "South", by=None)
    add_site("north", "North", by=None)
    submit_case(a_case(duties=[a_duty("2026-06-01")]), by=None)
    operator = give_role("o@south.example", south, Role.OPERATOR, by=None)
    rows = [row for group in needs_you(operator, TODAY).groups for row in group.rows]
    assert not [row for row in rows if row.what.startswith("Duty")]


@pytest.mark.parametrize(("role", "logs"), [(Role.OPERATOR, True), (Role.QUALITY_OFFICER, False)])
def test_home_offers_to_log_a_case_to_those_who_may(role: Role, logs: bool) -> None:
    add_site("north", "North", by=None)
    page = shown(a_member("north", role=role), "/")
    assert ("Log a case" in page) is logs


def test_a_long_list_of_late_duties_is_counted_up_to_a_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("registry.needs.COUNTED_TO", 10)
    site = add_site("north", "North", by=None)
    director = give_role("d@north.example", site, Role.LAB_DIRECTOR, by=None)
    submit_case(a_case(duties=[a_duty(f"2026-05-{day:02d}") for day in range(1, 13)]), by=None)
    needs = needs_you(director, TODAY)
    assert needs.groups[0].title == f"Late, or due today: {MOST} of more than 10, the latest first"
    assert needs.summary.startswith("More than 10 things are late or due today")


def test_duties_and_plans_of_a_withdrawn_case_need_nobody() -> None:
    site = add_site("north", "North", by=None)
    director = give_role("d@north.example", site, Role.LAB_DIRECTOR, by=None)
    drug = {"agent": "aspirin", "do_not_stop_before": "2026-07-05"}
    case = submit_case(a_case(duties=[a_duty("2026-06-01")], antiplatelet_plan={"drugs": [drug]}), by=None)
    late, coming, _ = needs_you(director, TODAY).groups
    assert (len(late.rows), len(coming.rows)) == (1, 1)
    Case.objects.filter(pk=case.pk).update(state=CaseState.WITHDRAWN)
    assert [group.title for group in needs_you(director, TODAY).groups] == [
        "Monthly returns that are missing"
    ]


@pytest.mark.parametrize("role", list(Role))
def test_home_asks_the_database_at_most_twelve_questions(
    role: Role, django_assert_max_num_queries: Any
) -> None:
    add_site("north", "North", by=None)
    submit_case(a_case(duties=[a_duty(f"2026-05-{day:02d}") for day in range(1, 13)]), by=None)
    client = a_member("north", role=role)
    client.get("/")
    with django_assert_max_num_queries(12):
        assert client.get("/").status_code == 200

"""Pages of the two monthly words: device uses and returns, and two people at one month."""

from __future__ import annotations

import datetime

import pytest
from django.test import Client
from django.urls import reverse

from registry.models import (
    DeviceModel,
    DeviceUse,
    MonthlyReturn,
    Person,
    Site,
)
from registry.needs import needs_you
from registry.reading.administration import last_months
from registry.reading.owed import months_of_beginning
from registry.recording.cases import submit_case
from registry.recording.checking import today_at
from registry.recording.devices import import_catalogue, import_procedures
from registry.terms import Role
from tests.administering import events, stood
from tests.builders import a_case
from tests.members import a_member, pages_of, words_of

pytestmark = pytest.mark.django_db

MONTH = datetime.date(2026, 3, 1)
USES = "/administration/device-use/?site=north&month=2026-03"


def field(code: str) -> str:
    """The name of a model's field."""
    return f"uses_{DeviceModel.objects.get(code=code).pk}"


def recorded_uses() -> dict[str, int]:
    rows = DeviceUse.objects.filter(month=MONTH).values_list("model__code", "uses")
    return dict(rows)


def test_a_month_is_saved_and_an_empty_field_is_not_recorded(desk: Client) -> None:
    fields = {field("ORLO-1"): "0", "stood": stood(desk.get(USES))}
    assert desk.post(USES, fields).status_code == 302
    assert recorded_uses() == {"ORLO-1": 0}
    desk.post(USES, {field("ORLO-1"): "", "stood": stood(desk.get(USES))})
    assert recorded_uses() == {}
    assert events()[-2:] == ["device_use_changed"] * 2


def test_a_model_is_added_to_the_page_and_what_was_typed_stays(desk: Client) -> None:
    fields = {field("ORLO-1"): "41", "stood": stood(desk.get(USES)), "act": "add"}
    chosen = str(DeviceModel.objects.get(code="ORLO/2 x").pk)
    page = desk.post(USES, fields | {"another": chosen})
    assert (page.status_code, recorded_uses()) == (200, {"ORLO-1": 40})
    assert 'value="41"' in words_of(page) and field("ORLO/2 x") in words_of(page)
    sent = {field("ORLO-1"): "41", field("ORLO/2 x"): "7", "stood": stood(page)}
    assert desk.post(USES, sent).status_code == 302
    assert recorded_uses() == {"ORLO-1": 41, "ORLO/2 x": 7}


@pytest.mark.parametrize("typed", ["-3", "many", "1.5", "1e3", "9999999", "٣"])
def test_uses_that_are_no_number_are_refused_beside_their_model(desk: Client, typed: str) -> None:
    response = desk.post(USES, {field("ORLO-1"): typed, "stood": stood(desk.get(USES))})
    assert response.status_code == 422
    assert f'value="{typed}"' in words_of(response)
    assert "a whole number from 0 to 1,000,000, or empty" in words_of(response)
    assert recorded_uses() == {"ORLO-1": 40}


@pytest.mark.parametrize(
    "query", ["site=south", "month=2026-13", "month=9999-01", "site=north&month=2199-01"]
)
def test_another_site_and_a_month_that_is_none_are_not_found(desk: Client, south: Site, query: str) -> None:
    assert desk.get(f"/administration/device-use/?{query}").status_code == 404


def test_of_two_who_open_one_month_the_second_is_told_and_loses_nothing(desk: Client, north: Site) -> None:
    second = pages_of(a_member(north, Role.NURSE_OR_FELLOW))
    opened = stood(desk.get(USES))
    assert stood(second.get(USES)) == opened
    assert desk.post(USES, {field("ORLO-1"): "50", "stood": opened}).status_code == 302
    late = second.post(USES, {field("ORLO-1"): "60", "stood": opened})
    assert (late.status_code, recorded_uses()) == (409, {"ORLO-1": 50})
    assert 'value="60"' in words_of(late) and "Recorded now: 50" in words_of(late)
    assert second.post(USES, {field("ORLO-1"): "60", "stood": stood(late)}).status_code == 302
    assert recorded_uses() == {"ORLO-1": 60}


# Returns


def a_return(site: str = "north", month: str = "2026-03") -> str:
    return reverse("returns_month", args=[site, month])


def test_a_return_is_given_shown_and_changed(desk: Client, north: Site) -> None:
    fields = {"procedures": "140", "reporting": "all_reported", "confirmed_by": "p-1", "stood": ""}
    assert desk.post(a_return(), fields).status_code == 302
    page = desk.get(a_return())
    assert 'value="140"' in words_of(page) and 'value="p-1"' in words_of(page)
    changed_return = fields | {"procedures": "", "reporting": "none_happened", "stood": stood(page)}
    assert desk.post(a_return(), changed_return).status_code == 302
    row = MonthlyReturn.objects.get()
    assert (row.procedures, row.reporting) == (None, "none_happened")
    assert events()[-2:] == ["procedures_changed"] * 2


@pytest.mark.parametrize(
    "wrong",
    [{"procedures": "many"}, {"procedures": "-1"}, {"reporting": "maybe"}, {"reporting": ""},
     {"confirmed_by": "unknown"}, {"confirmed_by": "p" * 200}],
)  # fmt: skip
def test_a_wrong_return_is_refused_and_stays_typed(desk: Client, wrong: dict[str, str]) -> None:
    fields = {"procedures": "140", "reporting": "all_reported", "confirmed_by": "p-1", "stood": ""} | wrong
    response = desk.post(a_return(), fields)
    assert response.status_code == 422
    for name in ("procedures", "confirmed_by"):
        assert f'value="{fields[name]}"' in words_of(response)
    assert not MonthlyReturn.objects.exists()


def test_of_two_who_give_one_return_the_second_is_told(desk: Client, north: Site) -> None:
    second = pages_of(a_member(north, Role.LAB_DIRECTOR))
    fields = {"procedures": "140", "reporting": "all_reported", "confirmed_by": "", "stood": ""}
    assert desk.post(a_return(), fields).status_code == 302
    late = second.post(a_return(), fields | {"procedures": "150"})
    assert late.status_code == 409
    assert "It stands now as: 140 procedures" in words_of(late) and 'value="150"' in words_of(late)
    assert MonthlyReturn.objects.get().procedures == 140
    assert second.post(a_return(), fields | {"procedures": "150", "stood": stood(late)}).status_code == 302


@pytest.mark.parametrize(("site", "month"), [("south", "2026-03"), ("north", "2026-3"), ("north", "2199-01")])
def test_a_return_of_another_site_or_of_no_month_is_not_found(
    desk: Client, south: Site, site: str, month: str
) -> None:
    assert desk.get(a_return(site, month)).status_code == 404


def test_the_list_names_twenty_four_months_and_those_that_are_silent(south: Site) -> None:
    desk = pages_of(a_member(south, Role.ADMINISTRATOR))
    months = last_months(today_at(south))
    assert list_of_returns(desk) == (24, 1, 23), (
        "the month in which the site was added is the first that it owes"
    )
    record_a_return(south, months[20])
    assert list_of_returns(desk) == (24, 20, 3), "an earlier record is an earlier beginning"


def list_of_returns(desk: Client) -> tuple[int, int, int]:
    """How many months the list has, how many are missing, and how many not owed."""
    page = words_of(desk.get(reverse("returns")))
    return page.count('<th scope="row">'), page.count("Not given yet"), page.count("Not owed")


def record_a_return(site: Site, month: datetime.date) -> None:
    row = {"site": site.code, "month": f"{month:%Y-%m}", "procedures": "1"}
    import_procedures([(2, row | {"reporting": "open", "confirmed_by": ""})], check_only=False, by=None)


def test_a_site_set_up_today_owes_no_month_before_it(south: Site) -> None:
    administrator = a_member(south, Role.ADMINISTRATOR)
    needs = needs_you(administrator, today_at(south))
    assert not needs.groups and "returns" not in needs.summary
    assert "None missing" in words_of(pages_of(administrator).get(reverse("administration")))


@pytest.mark.parametrize("record", ["return", "use", "case"])
def test_a_site_owes_from_its_first_record_of_any_kind(south: Site, record: str) -> None:
    if record == "return":
        record_a_return(south, datetime.date(2025, 5, 1))
    elif record == "use":
        DeviceUse.objects.create(site=south, model=a_model(), month=datetime.date(2025, 5, 1), uses=3)
    else:
        submit_case(a_case(site="south", procedure={"date": "2025-05-14"}), by=None)
    assert months_of_beginning(["south"]) == {"south": datetime.date(2025, 5, 1)}


def test_of_a_case_of_a_year_alone_the_last_possible_month_counts(south: Site) -> None:
    submit_case(a_case(site="south", procedure={"date": "2025"}), by=None)
    assert months_of_beginning(["south"]) == {"south": datetime.date(2025, 12, 1)}


def a_model() -> DeviceModel:
    row = {"maker": "Orlo", "model": "ORLO-3", "name": "Orlo Three", "class": "guidewire"}
    import_catalogue([(2, row)], check_only=False, by=None)
    return DeviceModel.objects.get(code="ORLO-3")


def test_home_leads_those_who_may_to_the_first_silent_month(north: Site, administrator: Person) -> None:
    today = datetime.date(2026, 3, 20)
    given = {"site": "north", "month": "2025-03", "procedures": "1", "reporting": "open", "confirmed_by": ""}
    import_procedures([(2, given)], check_only=False, by=None)

    def row(person: Person) -> tuple[str, str]:
        need = needs_you(person, today).groups[-1].rows[-1]
        return need.address, need.act

    assert row(administrator) == (a_return("north", "2025-04"), "Give April 2025")
    assert row(a_member(north, Role.PRESENTER))[0] == ""

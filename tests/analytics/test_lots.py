"""Lots seen twice and lots set aside: what each may see and do, what is kept, and what home tells."""

from __future__ import annotations

import csv
import io
import re
from collections import defaultdict
from random import Random

import pytest
from django.test import Client

from analytics import recording, summaries
from analytics.models import QuarantinedLot
from registry.models import Case, DeviceModel, Person, Site
from registry.recording.cases import set_state
from registry.terms import CaseState, Role
from tests.administering import events
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, take
from tests.analytics.invented import CLASSES, SITES, invented_cases
from tests.analytics.page_reading import a_member, shown, text_of
from tests.analytics.test_device_pages import exported
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

W = {"class": "guidewire", "model": "W-1"}
FORM = {
    "site": "north",
    "model": "W-1",
    "lot": "25J1107",
    "reason": "Two stuck wires.",
    "shelves": "Room 1, drawer 4.",
}


@pytest.fixture
def two_sites(db: None) -> None:
    """North and south, a wire in the catalogue, and one lot of it in a case at each."""
    add_sites("north", "south")
    catalogue("Tarn,W-1,First wire,guidewire")
    take(_case("north", "N-1", "2026-03-14"), _case("south", "S-1", "2026-02-03"))


def _case(site: str, document_id: str, date: str, lot: str = "25J1107", **more: object) -> Document:
    failed = a_ladder("wire_stuck:", device={**W, "lot": lot}, ref="C1", **more)
    return a_case(failed, id=document_id, site=site, procedure={"date": date})


def _lots_of(page: str) -> list[str]:
    return re.findall(r'data-lot="([^"]*)"', page)


def set_aside(client: Client, **instead: str) -> int:
    return client.post("/devices/lots/set-aside/", {**FORM, **instead}).status_code


def test_lots_equal_a_recount_of_the_documents(db: None) -> None:
    add_sites(*SITES)
    catalogue(*(f"Tarn,{model},A name,{device_class}" for model, device_class in CLASSES.items()))
    chance, cases = Random(31), invented_cases(300, seed=32)
    for case in cases:
        for complication in case["complications"]:
            complication["device"]["lot"] = chance.choice(
                ["L-1", "L-2", "l-1", "unknown", f"X{chance.random()}"]
            )
    take(*cases)
    for withdrawn in Case.objects.all()[:30]:
        set_state(
            withdrawn,
            CaseState.WITHDRAWN,
            version=withdrawn.version,
            reason="a reason",
            by=None,
            source="command",
        )
    expected: dict[tuple[str, str], list[str]] = defaultdict(list)
    for case, complication in recount.each(exported(), recount.ALWAYS):
        device, began = complication["device"], (complication.get("began") or {}).get("where")
        here = began in (None, "here") and case["procedure"].get("kind") != "none_found_later"
        named = {device.get("model"), device.get("lot")} & {None, "unknown"}
        if here and not named and complication.get("caused_by") is None:
            expected[device["model"], device["lot"]].append(f"{case['site']} {case['id']}")
    twice = {key: (len(found), len(set(found))) for key, found in expected.items() if len(found) > 1}
    found = summaries.lots_in_brief(EVERYTHING)
    assert {(one.device_model, one.lot): (one.events, one.cases) for one in found} == twice
    assert len(twice) > 8
    listed = summaries.with_events(EVERYTHING, found, (), set())
    assert all(len(one.seen) == one.events and not any(event.case for event in one.seen) for one in listed)


def test_of_another_site_there_is_site_month_device_and_lot_alone(two_sites: None) -> None:
    page = shown(a_member("north", role=Role.OPERATOR), "/devices/lots/")
    words, own = text_of(page), Case.objects.get(site__code="north").code
    assert f"North, 14 March 2026: case {own}" in words
    assert "South, February 2026" in words and "3 February" not in words
    assert Case.objects.get(site__code="south").code not in page
    assert "how many of this lot were opened is not recorded" in words


def test_secondary_events_and_withdrawn_cases_make_no_lot(two_sites: None) -> None:
    case = Case.objects.get(site__code="south")
    set_state(case, CaseState.WITHDRAWN, version=case.version, reason="a reason", by=None, source="command")
    second = a_ladder(
        "wire_stuck:", device={**W, "lot": "25J1107"}, ref="C2", caused_by="C1", after_position=0
    )
    take(a_case(a_ladder("snare_stuck:", device={"class": "snare_single_loop"}, ref="C1"), second, id="N-2"))
    page = shown(a_member("north"), "/devices/lots/")
    assert _lots_of(page) == [] and "No two first events of one model are of one lot" in text_of(page)


def test_a_lot_is_set_aside_shown_where_it_appears_and_released(two_sites: None) -> None:
    client = a_member("north")
    assert set_aside(client) == 302
    page = text_of(shown(client, "/devices/lots/"))
    assert "25J1107 set aside First wire W-1 North, since" in page
    assert "Reason: Two stuck wires." in page and "Shelves: Room 1, drawer 4." in page
    assert "1 lot seen twice" in text_of(shown(client, "/devices/"))
    assert "2 first events in 2 cases at 2 sites. Set aside." in text_of(shown(client, "/devices/"))
    code = QuarantinedLot.objects.get().code
    assert client.post(f"/devices/lots/{code}/release/").status_code == 302
    page = text_of(shown(client, "/devices/lots/"))
    assert "No site has a lot set aside." in page and "Not set aside." in page
    assert "25J1107, First wire, North: set aside on" in page and "Reason: Two stuck wires." in page
    assert events()[-2:] == ["lot_set_aside", "lot_released"]


def test_another_site_sees_that_a_lot_is_set_aside_and_not_why(two_sites: None) -> None:
    set_aside(a_member("north"))
    page = text_of(shown(a_member("south"), "/devices/lots/"))
    assert "25J1107 set aside First wire W-1 North, since" in page
    assert "Two stuck wires" not in page and "drawer 4" not in page and "Release" not in page


@pytest.mark.parametrize("role", [Role.OPERATOR, Role.NURSE_OR_FELLOW, Role.PRESENTER, Role.QUALITY_OFFICER])
def test_others_read_and_have_no_form(two_sites: None, role: Role) -> None:
    set_aside(a_member("north"))
    code = QuarantinedLot.objects.get().code
    client = a_member("north", "south", role=role)
    page = shown(client, "/devices/lots/")
    assert "Two stuck wires." in page and "<textarea" not in page and "/release/" not in page
    assert set_aside(client, lot="X") == 403
    assert client.post(f"/devices/lots/{code}/release/").status_code == 403
    assert QuarantinedLot.objects.filter(ended_at=None).count() == 1


@pytest.mark.parametrize(
    ("instead", "message"),
    [
        ({"model": "W-9"}, "No case and no catalogue names this model."),
        ({"reason": " "}, "This field is required."),
        ({"lot": "x" * 201}, "at most 200 characters"),
        ({"site": "south"}, "Select a valid choice."),
        ({"shelves": "x" * 2_001}, "at most 2000 characters"),
    ],
)
def test_what_is_wrong_is_said_and_everything_typed_is_kept(
    two_sites: None, instead: dict[str, str], message: str
) -> None:
    answer = a_member("north").post("/devices/lots/set-aside/", {**FORM, **instead})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert message in text_of(page)
    for name, value in {**FORM, **instead}.items():
        assert name == "site" or value.strip() in page or name == "lot"
    assert not QuarantinedLot.objects.exists()


def test_two_people_at_once_set_a_lot_aside_once_and_release_it_once(two_sites: None) -> None:
    one, other = a_member("north"), a_member("north", "south")
    assert set_aside(one) == 302
    answer = other.post("/devices/lots/set-aside/", {**FORM, "reason": "The same thought."})
    assert answer.status_code == 422
    assert "This lot is set aside at this site already." in text_of(answer.content.decode())
    assert "The same thought." in answer.content.decode()
    row = QuarantinedLot.objects.get()
    assert one.post(f"/devices/lots/{row.code}/release/").status_code == 302
    late = other.post(f"/devices/lots/{row.code}/release/")
    assert late.status_code == 409
    assert "This lot is not set aside any more" in text_of(late.content.decode())
    ended = QuarantinedLot.objects.get()
    assert ended.ended_by is not None and ended.ended_by.email == "north@sites.example"
    assert set_aside(one) == 302


def test_a_row_written_between_look_and_save_is_refused_in_words(
    two_sites: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    person = Person.objects.get(memberships__site__code="north") if a_member("north") else None
    site, model = Site.objects.get(code="north"), DeviceModel.objects.get()
    assert person is not None
    recording.set_lot_aside(site, model, "25J1107", "A reason.", "A shelf.", by=person)
    there = QuarantinedLot.objects
    monkeypatch.setattr(type(there.none()), "exists", lambda self: False)
    with pytest.raises(recording.NotSaved, match="somebody else saved the same thing"):
        recording.set_lot_aside(site, model, "25J1107", "A reason.", "A shelf.", by=person)


def lots_of_case(client: Client, case: Case, *, whole: bool = False) -> str:
    """What the page of the case is given when it asks, or the page that its link opens."""
    asks = {} if whole else {"HX-Request": "true"}
    answer = client.get(f"/devices/lots/of-case/{case.code}/", headers=asks)
    assert answer.status_code == 200 and ("<html" in answer.content.decode()) is whole
    return answer.content.decode()


@pytest.mark.parametrize("whole", [False, True])
def test_a_case_tells_that_a_device_of_it_is_of_a_lot_set_aside_and_where_to_look(
    two_sites: None, whole: bool
) -> None:
    set_aside(a_member("north"))
    case = Case.objects.get(site__code="north")
    operator = a_member("north", "south", role=Role.OPERATOR)
    page = lots_of_case(operator, case, whole=whole)
    words = text_of(page)
    assert "25J1107 set aside First wire W-1 North, since" in words and "by north@" not in words
    assert "Reason: Two stuck wires." in words and "Shelves: Room 1, drawer 4." in words
    assert "#none" in page, "a shape beside the words"
    recording.release_lot(
        QuarantinedLot.objects.get().code, by=Person.objects.get(email="north@sites.example")
    )
    said = text_of(lots_of_case(operator, case, whole=whole))
    assert ("No lot of a device in this case is set aside." in said) is whole, "nothing above a ladder"
    assert "set aside First wire" not in said


def test_a_case_tells_of_a_lot_set_aside_elsewhere_without_why(two_sites: None) -> None:
    set_aside(a_member("north"))
    words = text_of(lots_of_case(a_member("south"), Case.objects.get(site__code="south")))
    assert "25J1107 set aside First wire W-1 North, since" in words
    assert "Two stuck wires" not in words and "drawer 4" not in words


@pytest.mark.parametrize(
    ("lot", "model", "told"),
    [
        ("25J1107", "W-1", True),
        ("25J1108", "W-1", False),
        ("25J1107", "W-2", False),
        ("unknown", "W-1", False),
    ],
)
@pytest.mark.parametrize("where", ["failed", "used", "involved", "placed"])
def test_model_and_lot_are_those_of_any_device_of_the_case(
    two_sites: None, where: str, lot: str, model: str, told: bool
) -> None:
    set_aside(a_member("north"))
    device = {"class": "guidewire", "model": model, "lot": lot}
    failed = a_ladder("wire_stuck: snare_single/free=unchanged", ref="C1")
    case = a_case(failed, id="N-9", site="north")
    if where == "failed":
        failed["device"] = device
    elif where == "used":
        failed["actions"][0]["devices"] = [device]
    elif where == "involved":
        failed["other_devices"] = [device]
    else:
        case["lesions"] = [{"ref": "L1", "contents": [{"what": "old_stent", "device": device}]}]
    take(case)
    presenter = a_member("north", "south", role=Role.PRESENTER)
    words = text_of(lots_of_case(presenter, Case.objects.get(document_id="N-9")))
    assert ("25J1107 set aside" in words) is told
    assert bool(words.strip()) is told


def test_the_page_of_a_case_asks_only_where_a_lot_is_recorded(two_sites: None) -> None:
    take(_case("north", "N-2", "2026-03-20", lot="unknown"))
    client = a_member("north")
    with_lot, without = (Case.objects.get(document_id=code) for code in ("N-1", "N-2"))
    page = shown(client, f"/case/{with_lot.code}/")
    assert f'hx-get="/devices/lots/of-case/{with_lot.code}/"' in page and "htmx.min.js" in page
    assert f'<a class="no-print" href="/devices/lots/of-case/{with_lot.code}/">' in page
    page = shown(client, f"/case/{without.code}/")
    assert "of-case" not in page and "htmx" not in page.split("</head>")[1]


def read(client: Client, address: str) -> list[dict[str, str]]:
    """The rows of a file by its columns."""
    return list(csv.DictReader(io.StringIO(shown(client, address))))


def test_the_file_of_lots_seen_twice_holds_what_the_page_shows(two_sites: None) -> None:
    set_aside(a_member("north"))
    both = a_member("south", "north", role=Role.OPERATOR)
    own = {row["site"]: row for row in read(both, "/devices/lots.csv")}
    for name, code in (("North", "N-1"), ("South", "S-1")):
        assert own[name]["case"] == Case.objects.get(document_id=code).code
    assert own["North"]["when"] == "14 March 2026"
    south = a_member("south", role=Role.PRESENTER)
    rows = {row["site"]: row for row in read(south, "/devices/lots.csv")}
    same = {"device_model": "W-1", "name": "First wire", "device_class": "guidewire", "lot": "25J1107"}
    for row in rows.values():
        assert {**row, **same, "events": "2", "cases": "2", "sites": "2", "set_aside_at": "North"} == row
    assert (rows["North"]["when"], rows["North"]["case"]) == ("2026-03", "")
    assert rows["South"]["when"] == "3 February 2026" and rows["South"]["case"]
    page = shown(south, "/devices/lots/")
    assert 'href="/devices/lots.csv"' in page and 'href="/devices/lots-set-aside.csv"' in page


def test_the_file_of_lots_set_aside_holds_what_the_page_shows_to_the_same_people(two_sites: None) -> None:
    set_aside(a_member("north"))
    now = QuarantinedLot.objects.get().at
    (row,) = read(a_member("north", "south", role=Role.OPERATOR), "/devices/lots-set-aside.csv")
    assert row == {
        **{"device_model": "W-1", "name": "First wire", "lot": "25J1107", "site": "North"},
        **{"since": f"{now:%Y-%m-%d}", "by": Person.objects.get(email="north@sites.example").code},
        **{"reason": "Two stuck wires.", "shelves": "Room 1, drawer 4."},
    }
    (row,) = read(a_member("south"), "/devices/lots-set-aside.csv")
    assert (row["since"], row["by"], row["reason"], row["shelves"]) == (f"{now:%Y-%m}", "", "", "")


@pytest.mark.parametrize("lot", ["=1+1", "+A", "-A", "@A"])
def test_a_lot_is_no_formula_to_the_spreadsheet_that_opens_the_file(two_sites: None, lot: str) -> None:
    take(*(_case("north", f"F-{number}", "2026-03-02", lot=lot) for number in range(2)))
    rows = read(a_member("north"), "/devices/lots.csv")
    assert [row["lot"] for row in rows if row["lot"] != "25J1107"] == [f"'{lot}"] * 2


def test_the_form_is_filled_in_from_the_row(two_sites: None) -> None:
    page = shown(a_member("north"), "/devices/lots/")
    assert "?model=W-1&amp;lot=25J1107#set-aside" in page
    page = shown(a_member("north", "south"), "/devices/lots/", {"model": "W-1", "lot": "25J1107"})
    assert 'value="25J1107"' in page and 'value="W-1"' in page


def test_home_tells_it_in_one_line_to_everybody_at_the_site(two_sites: None) -> None:
    set_aside(a_member("north"))
    home = text_of(shown(a_member("north", "south", role=Role.OPERATOR), "/today/figures/"))
    assert "North: 25J1107 (First wire)" in home and "Where to look" in home
    south = a_member("south")
    assert "Where to look" not in text_of(shown(south, "/today/figures/"))
    assert 'hx-get="/today/figures/"' in shown(south, "/")


def test_a_strange_address_fills_in_nothing_that_breaks(two_sites: None) -> None:
    assert shown(a_member("north"), "/devices/lots/", {"model": "\0x", "lot": "<b>" * 200})
    assert a_member("south").post("/devices/lots/NOTHING/release/").status_code == 404

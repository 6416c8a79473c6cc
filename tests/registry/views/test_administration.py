"""Pages of administration: the catalogue and tables by file; what is wrong is said beside it and stays typed."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from registry.models import (
    DeviceModel,
    MonthlyReturn,
    Site,
)
from registry.recording.cases import submit_case
from registry.terms import Role
from tests.administering import events, stood
from tests.builders import a_case, changed
from tests.members import a_member, pages_of, words_of

pytestmark = pytest.mark.django_db


def test_the_catalogue_is_searched_by_code_name_and_maker(desk: Client) -> None:
    for search in ("orlo-1", "Orlo One"):
        page = words_of(desk.get(reverse("catalogue"), {"q": search}))
        assert "Orlo One" in page and "Orlo Two" not in page
    assert "Orlo Two" in words_of(desk.get(reverse("catalogue"), {"q": "orlo"}))
    assert "No model has “&lt;x&gt;”" in words_of(desk.get(reverse("catalogue"), {"q": "<x>"}))


def test_models_that_wait_stand_first(desk: Client, north: Site) -> None:
    submit_case(changed(a_case(), "complications[0].device.model", "ZZ-NEW"), by=None)
    page = words_of(desk.get(reverse("catalogue")))
    assert page.index("ZZ-NEW") < page.index("ORLO-1")
    assert "1 model named in cases waits" in page


def test_a_model_is_added_and_changed(desk: Client) -> None:
    address = reverse("catalogue_model")
    fields = {"maker": "Velm", "model": "V 1/2", "name": "Velm", "device_class": "guidewire", "stood": ""}
    assert desk.post(address, fields).status_code == 302
    page = desk.get(address, {"code": "V 1/2"})
    again = fields | {"name": "Velm Half", "stood": stood(page)}
    assert desk.post(f"{address}?code=V%201/2", again).status_code == 302
    assert DeviceModel.objects.get(code="V 1/2").name == "Velm Half"
    assert events()[-2:] == ["catalogue_changed"] * 2


def test_a_queued_model_is_taken_in(desk: Client, north: Site) -> None:
    submit_case(changed(a_case(), "complications[0].device.model", "NEW-1"), by=None)
    address = f"{reverse('catalogue_model')}?code=NEW-1"
    fields = {"maker": "Velm", "model": "NEW-1", "name": "New", "device_class": "guidewire"}
    assert desk.post(address, fields | {"stood": stood(desk.get(address))}).status_code == 302
    assert not DeviceModel.objects.get(code="NEW-1").queued


def test_a_code_that_is_taken_is_not_replaced_by_adding(desk: Client) -> None:
    fields = {"maker": "Velm", "model": "ORLO-1", "name": "", "device_class": "guidewire", "stood": ""}
    response = desk.post(reverse("catalogue_model"), fields)
    assert response.status_code == 409
    assert "It stands now as: Orlo, Orlo One" in words_of(response) and 'value="Velm"' in words_of(response)
    assert DeviceModel.objects.get(code="ORLO-1").name == "Orlo One"


def test_what_is_wrong_about_a_model_is_said_beside_its_field(desk: Client) -> None:
    fields = {"maker": " ", "model": "unknown", "name": "N", "device_class": "guidewire"}
    response = desk.post(reverse("catalogue_model"), fields)
    assert response.status_code == 422 and "This field is required" in words_of(response)
    response = desk.post(reverse("catalogue_model"), fields | {"maker": "Velm"})
    assert response.status_code == 422
    assert "Not a model&#x27;s code" in words_of(response) and 'value="Velm"' in words_of(response)


def test_a_class_that_cases_contradict_names_ones_own_cases_and_counts_the_others(
    desk: Client, north: Site, south: Site
) -> None:
    submit_case(changed(a_case(id="N-7"), "complications[0].device.model", "ORLO-1"), by=None)
    submit_case(changed(a_case(id="S-7", site="south"), "complications[0].device.model", "ORLO-1"), by=None)
    address = f"{reverse('catalogue_model')}?code=ORLO-1"
    fields = {"maker": "Orlo", "model": "ORLO-1", "name": "", "device_class": "snare_single_loop"}
    page = words_of(desk.post(address, fields | {"stood": stood(desk.get(address))}))
    assert "north N-7" in page and "cases of other sites: 1" in page and "S-7" not in page
    assert DeviceModel.objects.get(code="ORLO-1").device_class == "guidewire"


def test_an_unknown_model_is_not_found(desk: Client) -> None:
    assert desk.get(reverse("catalogue_model"), {"code": "NOT-THERE"}).status_code == 404


RIGHT = {
    "catalogue_file": "maker,model,name,class\nVelm,V-1,Velm One,guidewire\n",
    "device_use_file": "site,device_model,month,uses\nnorth,ORLO-1,2026-02,12\n",
    "returns_file": "site,month,procedures,reporting,confirmed_by\nnorth,2026-02,140,all_reported,p-1\n",
}
WRONG = {
    "catalogue_file": "maker,model,name,class\nVelm,V-1,Velm <One>,guidewir\n,V-2,Velm Two,guidewire\n",
    "device_use_file": "site,device_model,month,uses\nnorth,NOT-1,2026-02,12\nsouth,ORLO-1,2026-02,1\n",
    "returns_file": "site,month,procedures,reporting,confirmed_by\nnorth,2026-2,140,all_reported,p-1\n"
    "south,2026-02,1,maybe,\n",
}


def a_file(text: str | bytes) -> SimpleUploadedFile:
    raw = text if isinstance(text, bytes) else text.encode()
    return SimpleUploadedFile("rows.csv", raw, content_type="text/csv")


@pytest.mark.parametrize("route", RIGHT)
def test_a_file_is_checked_shown_and_then_written(desk: Client, route: str) -> None:
    before = events()
    checked = desk.post(reverse(route), {"act": "check", "file": a_file(RIGHT[route])})
    assert (checked.status_code, events()) == (200, before)
    assert "They would add 1, change 0 and leave 0" in words_of(checked)
    assert RIGHT[route].splitlines()[1] in words_of(checked)
    assert desk.post(reverse(route), {"act": "apply", "rows": RIGHT[route]}).status_code == 302
    assert len(events()) == len(before) + 1


@pytest.mark.parametrize("route", WRONG)
def test_every_wrong_line_of_a_file_is_told_and_nothing_is_lost_or_written(
    desk: Client, south: Site, route: str
) -> None:
    before = events()
    response = desk.post(reverse(route), {"act": "apply", "file": a_file(WRONG[route])})
    page = words_of(response)
    assert (response.status_code, events()) == (422, before)
    assert "line 2: field" in page and "line 3: field" in page
    assert WRONG[route].replace("<", "&lt;").replace(">", "&gt;").strip() in page


def test_a_file_of_another_site_is_refused_as_one_of_no_site(desk: Client, south: Site) -> None:
    text = RIGHT["returns_file"].replace("north", "south")
    page = words_of(desk.post(reverse("returns_file"), {"act": "apply", "rows": text}))
    assert "there is no such site; allowed: north" in page
    assert not MonthlyReturn.objects.exists()


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({}, "Choose a file, or paste its rows below."),
        ({"rows": "  \n"}, "Choose a file, or paste its rows below."),
        ({"rows": "maker,model\nx,y\n"}, "line 1: the heading lacks name, class"),
        ({"rows": "maker,model,name,class\nx,y\n"}, "line 2: 2 cells; the heading has 4 columns"),
        ({"rows": "maker,model,name,class\n"}, "holds no row"),
        ({"rows": 'maker,model,name,class\n"x'}, "not CSV"),
    ],
)
def test_what_is_no_table_is_refused_in_words(desk: Client, fields: dict[str, str], says: str) -> None:
    response = desk.post(reverse("catalogue_file"), fields)
    assert (response.status_code, says in words_of(response)) == (422, True)


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "line 1: the heading lacks maker"),
        (b"\xff\xfe\x00", "is not UTF-8 text: byte 1"),
        (b"maker,model,name,class\n\x00,b,c,d\n", "NUL character"),
        (b"x" * 1_000_001, "has more than 1 MB"),
    ],
    ids=["empty", "not text", "nul", "too large"],
)
def test_a_file_that_is_no_table_is_refused_in_words(desk: Client, raw: bytes, says: str) -> None:
    response = desk.post(reverse("catalogue_file"), {"file": a_file(raw)})
    assert response.status_code == 422
    assert says in words_of(response)


def test_the_overview_shows_each_role_its_own_tasks(desk: Client, north: Site) -> None:
    whole = words_of(desk.get(reverse("administration")))
    assert "People and roles" in whole and "Open the catalogue" in whole and "Give a return" in whole
    nurse = words_of(pages_of(a_member(north, Role.NURSE_OR_FELLOW)).get(reverse("administration")))
    assert "Give a return" in nurse and "People and roles" not in nurse and "Open the catalogue" not in nurse

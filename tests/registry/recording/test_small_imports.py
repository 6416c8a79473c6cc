"""The catalogue, monthly device use and monthly returns by file: what is replaced, what is refused."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from registry.models import DeviceModel, DeviceUse, JournalEntry, MonthlyReturn, Site
from registry.recording.sites import add_site
from tests.builders import a_case, changed
from tests.commands import Outcome, as_json, command

pytestmark = [pytest.mark.data, pytest.mark.django_db]

CATALOGUE = "maker,model,name,class\n"
USES = "site,device_model,month,uses\n"
RETURNS = "site,month,procedures,reporting,confirmed_by\n"


def given(tmp_path: Path, what: str, text: str, *words: str) -> Outcome:
    path = tmp_path / f"{what}.csv"
    path.write_text(text, encoding="utf-8")
    return command(f"import_{what}", path, *words)


@pytest.fixture
def stocked(north: Site, tmp_path: Path) -> Path:
    """Two models in the catalogue, one with uses in two months."""
    rows = "Orlo,ORLO-1,Orlo One,guidewire\nOrlo,ORLO-2,Orlo Two,guidewire\n"
    assert given(tmp_path, "catalogue", CATALOGUE + rows).last == "created 2, unchanged 0, amended 0"
    rows = "north,ORLO-1,2026-01,40\nnorth,ORLO-2,2026-01,7\nnorth,ORLO-1,2026-02,0\n"
    assert given(tmp_path, "device_use", USES + rows).last == "created 3, unchanged 0, amended 0"
    return tmp_path


def test_the_same_catalogue_again_changes_nothing(stocked: Path) -> None:
    before = JournalEntry.objects.count()
    rows = "Orlo,ORLO-2,Orlo Two,guidewire\nOrlo,ORLO-1,Orlo One,guidewire\n"
    assert given(stocked, "catalogue", CATALOGUE + rows).last == "created 0, unchanged 2, amended 0"
    assert JournalEntry.objects.count() == before


def test_a_catalogue_row_replaces_its_model_and_takes_a_queued_one_in(stocked: Path) -> None:
    document = changed(a_case(), "complications[0].device.model", "NEW-1")
    command("import_cases", as_json(stocked / "a.json", document))
    rows = "Velm,NEW-1,New One,guidewire\nVelm,ORLO-1,Orlo One,guidewire\n"
    assert given(stocked, "catalogue", CATALOGUE + rows).last == "created 0, unchanged 0, amended 2"
    model = DeviceModel.objects.get(code="NEW-1")
    assert (model.queued, str(model.maker), model.name) == (False, "Velm", "New One")


def test_a_catalogue_class_that_contradicts_a_case_is_refused_and_the_case_named(stocked: Path) -> None:
    document = changed(a_case(), "complications[0].device.model", "ORLO-1")
    command("import_cases", as_json(stocked / "a.json", document))
    outcome = given(stocked, "catalogue", CATALOGUE + "Orlo,ORLO-1,Orlo One,snare_single_loop\n")
    assert (outcome.status, "north N-1" in outcome.err) == (1, True)
    assert DeviceModel.objects.get(code="ORLO-1").device_class == "guidewire"


def test_a_month_is_replaced_whole_and_a_model_not_named_becomes_not_recorded(stocked: Path) -> None:
    outcome = given(stocked, "device_use", USES + "north,ORLO-1,2026-01,41\n")
    assert outcome.last == "created 0, unchanged 0, amended 2"
    kept = DeviceUse.objects.order_by("month").values_list("model__code", "month", "uses")
    assert list(kept) == [("ORLO-1", datetime.date(2026, 1, 1), 41), ("ORLO-1", datetime.date(2026, 2, 1), 0)]


def test_check_of_the_small_imports_writes_nothing(stocked: Path) -> None:
    outcome = given(stocked, "device_use", USES + "north,ORLO-1,2026-03,41\n", "--check")
    assert outcome.last == "would create 1, leave 0, amend 0"
    assert DeviceUse.objects.count() == 3


def test_a_return_is_recorded_with_who_confirmed_it_and_replaced(north: Site, tmp_path: Path) -> None:
    rows = "north,2026-01,120,all_reported,q-1\nnorth,2026-02,,open,\n"
    assert given(tmp_path, "procedures", RETURNS + rows).last == "created 2, unchanged 0, amended 0"
    again = "north,2026-01,121,none_happened,q-1\n"
    assert given(tmp_path, "procedures", RETURNS + again).last == "created 0, unchanged 0, amended 1"
    row = MonthlyReturn.objects.get(month=datetime.date(2026, 1, 1))
    assert (row.procedures, row.reporting, str(row.confirmed_by)) == (121, "none_happened", "q-1")
    assert MonthlyReturn.objects.get(month=datetime.date(2026, 2, 1)).procedures is None


REFUSED = {
    "catalogue": {
        "": "no row",
        "Orlo,ORLO-1,Orlo One,guide_wire\n": "guidewire",
        "Orlo,ORLO-1,Orlo One,unknown\n": "unknown class",
        "Orlo,,Orlo One,guidewire\n": "model",
        ",ORLO-1,Orlo One,guidewire\n": "maker",
        "Orlo,ORLO-1,One,guidewire\nVelm,ORLO-1,Two,guidewire\n": "unique across makers",
    },
    "device_use": {
        "": "no row",
        "north,NONE-1,2026-01,3\n": "not in the catalogue",
        "south,ORLO-1,2026-01,3\n": "no such site",
        "north,ORLO-1,2026-13,3\n": "not a month",
        "north,ORLO-1,2026-1,3\n": "not a month",
        "north,ORLO-1,2199-01,3\n": "future",
        "north,ORLO-1,2026-01,-3\n": "number of units",
        "north,ORLO-1,2026-01,3.5\n": "number of units",
        "north,ORLO-1,2026-01,\n": "number of units",
        "north,ORLO-1,2026-01,unknown\n": "number of units",
        "north,ORLO-1,2026-01,\u0663\n": "number of units",
        "north,ORLO-1,2026-01,3\nnorth,ORLO-1,2026-01,4\n": "twice",
        "north,ORLO-1,2026-01\n": "3 cells",
    },
    "procedures": {
        "": "no row",
        "south,2026-01,3,open,\n": "no such site",
        "north,2026-01,x,open,\n": "not a number",
        "north,2026-01,3,silent,\n": "all_reported",
        "north,2026-01,3,open,\nnorth,2026-01,3,open,\n": "twice",
        "north,2026-01,3,open,unknown\n": "staff code",
    },
}


@pytest.mark.parametrize(
    ("what", "rows"), [(what, rows) for what, listed in REFUSED.items() for rows in listed]
)
def test_a_wrong_row_refuses_the_whole_file(what: str, rows: str, stocked: Path) -> None:
    before = (DeviceModel.objects.count(), DeviceUse.objects.count(), JournalEntry.objects.count())
    heading = {"catalogue": CATALOGUE, "device_use": USES, "procedures": RETURNS}[what]
    outcome = given(stocked, what, heading + rows)
    assert outcome.status == 1
    assert REFUSED[what][rows] in outcome.err
    assert (DeviceModel.objects.count(), DeviceUse.objects.count(), JournalEntry.objects.count()) == before


@pytest.mark.parametrize("what", ["catalogue", "device_use", "procedures"])
def test_a_wrong_heading_names_the_columns(what: str, north: Site, tmp_path: Path) -> None:
    assert "columns:" in given(tmp_path, what, "one,two\n1,2\n").err


@pytest.mark.django_db(transaction=True)
def test_a_site_is_added_once_and_its_code_is_a_word() -> None:
    first = command("set_up", "--site", "north", "--name", "North", "--admin", "a@north.example")
    second = command("set_up", "--site", "north", "--name", "North", "--admin", "A@north.example")
    assert (first.status, second.status, Site.objects.count()) == (0, 0, 1)
    assert "/invitation/" in first.out
    assert command("set_up", "--site", "no rth", "--name", "N", "--admin", "a@north.example").status == 1
    assert command("set_up", "--site", "south", "--name", "S", "--admin", "nobody").status == 1
    assert command("set_up", "--site", "east", "--name", " ", "--admin", "a@north.example").status == 1
    assert command("set_up", "--site", "west", "--name", "W").status == 2
    assert add_site("north", "Another", by=None).name == "North"

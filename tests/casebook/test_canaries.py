"""What must not leave is planted in 300 cases; a complete export holds all of it, a release nothing."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from casebook.disclosure import JUDGED_BY, Period, judged, period_of
from casebook.models import DataRelease
from casebook.recording import make_release
from registry.access import scope_of_command_line
from registry.deidentify.field_policy import LET_GO
from registry.deidentify.pseudonyms import Pseudonyms
from registry.deidentify.reading import LeavingCases
from registry.models import Case, Person, Site
from registry.recording.exports import export_lines
from registry.recording.imports import Manner, Source, import_documents
from registry.recording.sites import add_site, give_role
from registry.terms import Role
from tests.builders import TODAY
from tests.casebook import canaries
from tests.casebook.canaries import CANARY, CLOCK, DAY, GTIN, MONTH, SITES, WORD, planted_cases

pytestmark = [pytest.mark.data, pytest.mark.django_db]

CASES = 300
FEWER = 150
PURPOSE = f"audit for {WORD} of {WORD}purpose"


def planted(cases: int = FEWER) -> Person:
    """Sites, their quality officer and the cases; returns the officer."""
    email = f"{WORD}@{WORD}.example"
    for code in SITES:
        site = add_site(code, f"{WORD.title()} Hospital of {code}", time_zone="Europe/Oslo", by=None)
        officer = give_role(email, site, Role.QUALITY_OFFICER, name=f"Dr {WORD.title()}", by=None)
    sources = [Source(str(number), one) for number, one in enumerate(planted_cases(cases))]
    import_documents(sources, manner=Manner(), by=None, warn=lambda line: None)
    return officer


def released(folder: Path, by: Person) -> DataRelease:
    period: Period = period_of("2023-01", "2025-12", TODAY)
    return make_release(folder, sites=list(Site.objects.all()), period=period, purpose=PURPOSE, by=by)


def contents(folder: Path) -> Iterator[tuple[str, str]]:
    for file in sorted(folder.rglob("*")):
        yield file.name, file.read_text(encoding="utf-8")


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def read(folder: Path, name: str) -> Any:
    return json.loads((folder / name).read_text(encoding="utf-8"))


def test_no_canary_leaves(tmp_path: Path) -> None:
    officer = planted(CASES)
    planted_words = set(canaries.canaries_in(planted_cases(CASES)))
    assert len(planted_words) > 50 * CASES
    exported = "\n".join(export_lines(scope_of_command_line()))
    assert planted_words <= set(CANARY.findall(exported))
    assert GTIN in exported
    assert DAY.search(exported)
    assert CLOCK.search(exported)
    folder = tmp_path / "release"
    release = released(folder, officer)
    inside = {officer.code, GTIN, "Oslo", *Case.objects.values_list("code", flat=True)}
    for name, text in contents(folder):
        assert not CANARY.search(name + text), name
        assert not DAY.search(text), name
        assert not CLOCK.search(text), name
        assert not [word for word in inside if word in text], name
        assert not MONTH.search(text.replace(f'"made": "{read(folder, "manifest.json")["made"]}"', "")), name
    assert release.released == CASES - 1


def test_the_case_that_is_alone_is_suppressed_and_reported(tmp_path: Path) -> None:
    folder = tmp_path / "release"
    release = released(folder, planted())
    ages = {row["age_band"] for row in table(folder, "cases")}
    assert ages == {"60 to 69", "90 and over"}
    found = read(folder, "disclosure.json")
    assert found["cases"] == {
        "considered": FEWER,
        "released": FEWER - 1,
        "suppressed": 1,
        "left_out_before": {"date_too_roughly_known_for_the_period": 0},
    }
    assert found["suppressed_by_rule"] == {"class_smaller_than_k": 1}
    assert found["k_wanted"] == 5
    assert found["k_reached"] == release.smallest_class_reached >= 5
    assert sum(int(size) * n for size, n in found["class_sizes"].items()) == FEWER - 1
    # All planted cases have one situation, which the rule doesn't hide and the report says.
    assert found["sensitive_values"]["situation"] == {
        "fewest_values_in_a_class": 1,
        "classes_with_one_value": sum(found["class_sizes"].values()),
    }


def test_the_rule_finds_the_same_in_the_fields_it_is_given_as_in_whole_cases() -> None:
    planted()
    sites = scope_of_command_line()
    cases = LeavingCases(sites, date(2023, 1, 1), date(2025, 12, 31), Pseudonyms.drawn())
    assert judged(cases.parts(JUDGED_BY), 5) == judged(cases.parts(LET_GO), 5)
    seen = next(cases.parts(JUDGED_BY)).content
    assert set(seen) == {"site", "procedure", "patient", "complications", "lesions"}


def test_rows_stand_in_an_order_drawn_by_chance_and_two_releases_share_no_pseudonym(tmp_path: Path) -> None:
    officer = planted()
    orders, pseudonyms = [], []
    for name in ("one", "other"):
        released(tmp_path / name, officer)
        rows = table(tmp_path / name, "cases")
        orders.append([int(row["outcome_discharge_day"]) for row in rows])
        pseudonyms.append({row["case"] for row in rows} | {row["site"] for row in rows})
        order = [row["case"] for row in rows]
        lesions = list(dict.fromkeys(row["case"] for row in table(tmp_path / name, "lesions")))
        assert lesions == order
    assert sorted(orders[0]) == sorted(orders[1]) == list(range(1, FEWER))
    assert len({tuple(orders[0]), tuple(orders[1]), tuple(range(1, FEWER))}) == 3
    assert not pseudonyms[0] & pseudonyms[1]
    assert len(pseudonyms[0]) == FEWER - 1 + len(SITES)


def test_every_row_belongs_to_a_case_that_is_released(tmp_path: Path) -> None:
    folder = tmp_path / "release"
    released(folder, planted())
    cases = {row["case"] for row in table(folder, "cases")}
    rows = read(folder, "manifest.json")["rows"]
    for name, count in rows.items():
        found = table(folder, name.removesuffix(".csv"))
        assert len(found) == count
        assert {row["case"] for row in found} == cases

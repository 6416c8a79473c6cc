"""Where complications lay and what lay there: counted a second time from the documents, on the page and in its CSV."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Iterator, Mapping
from random import Random
from typing import Any

import pytest
from django.test import Client

from registry.recording.exports import export_lines
from registry.terms import Role
from registry.vocabulary import word_list
from tests.analytics.builders import EVERYTHING, add_sites, take
from tests.analytics.invented import SITES, invented_cases
from tests.analytics.page_reading import a_member, few_questions, shown, text_of
from tests.analytics.recount import within
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

SEGMENTS, BEYOND = ["6", "7", "9", "9a", "2", "unknown"], ["ascending_aorta", "in_guide", "arm_artery"]
CONTENTS, CALCIFIED = ["old_stent", "thrombus", "unknown"], ["none", "severe", "unknown", None]


def placed(case: Document, chance: Random) -> Document:
    """The case with up to two lesions, its complications at one of them, at places of their own, or at none."""
    lesions = [_lesion(chance, ref) for ref in ("L1", "L2")[: chance.randint(0, 2)]]
    complications = []
    for one in case["complications"]:
        at = {"lesion": chance.choice(lesions)["ref"]} if lesions and chance.random() < 0.8 else {}
        own: dict[str, Any] = chance.choice(
            [
                {},
                {},
                {"segments": chance.sample(SEGMENTS, 2)},
                {"places": [chance.choice(BEYOND)]},
                {"segments": ["7"], "places": BEYOND[:1]},
                {"segments": []},
            ]
        )
        complications.append({**one, **at, **own})
    return {**case, "lesions": lesions, "complications": complications}


def _lesion(chance: Random, ref: str) -> Document:
    lesion: Document = {"ref": ref}
    if chance.random() < 0.8:
        lesion["segments"] = chance.sample(SEGMENTS, chance.randint(1, 2))
    if calcified := chance.choice(CALCIFIED):
        lesion["calcification"] = calcified
    held = chance.choice([None, [], CONTENTS[:1], CONTENTS[:2], CONTENTS[1:], CONTENTS[:1] * 2])
    if held is not None:
        lesion["contents"] = [{"what": what} for what in held]
    return lesion


def counted(cases: list[Document], query: Mapping[str, str]) -> Iterator[tuple[Document, Document | None]]:
    """Complications of the filters with the lesion they name."""
    period = (query.get("since", "0000") + "-00", query.get("until", "9999-99") + "-99")
    for case in cases:
        for one in case["complications"]:
            lesions = {lesion["ref"]: lesion for lesion in case.get("lesions") or []}
            asked = query.get("situation", one["situation"]) == one["situation"]
            if asked and within(case, period) and query.get("site", case["site"]) == case["site"]:
                yield one, lesions.get(one.get("lesion"))


def where(one: Document, lesion: Document | None) -> set[tuple[str, str]]:
    holder = one if "segments" in one or "places" in one else lesion or {}
    return {(name, code) for name in ("segments", "places") for code in holder.get(name) or []}


def context(lesion: Document | None) -> tuple[set[str], str]:
    """The columns of both tables in which a complication stands."""
    if lesion is None:
        return {"no_lesion"}, "no_lesion"
    held = lesion.get("contents")
    contents = {one["what"] for one in held or []}
    return contents or {"not_recorded" if held is None else "nothing"}, lesion.get(
        "calcification", "not_recorded"
    )


def csv_of(client: Client, address: str, query: Mapping[str, str]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(shown(client, address, query))))


def check_map(client: Client, query: Mapping[str, str], found: list[tuple[Document, Document | None]]) -> int:
    expected: Counter[str] = Counter()
    for one, lesion in found:
        places = where(one, lesion)
        for name, code in places:
            expected[_label(name, code)] += 1
        expected["No place recorded"] += not places
    rows = csv_of(client, "/figures/places.csv", query)
    assert {row["place"]: int(row["complications"]) for row in rows} == +expected
    page = shown(client, "/places/", query)
    words = text_of(page)
    assert f"{len(found)} complication" in words
    assert f"{expected['No place recorded']} of {len(found)} " in words
    for row in rows:
        assert f"<td>{int(row['complications']):,}</td>" in page
    return len(rows)


def _label(name: str, code: str) -> str:
    words = {"segments": "segment", "places": "place"}
    if code == "unknown":
        return f"{words[name].capitalize()} not known"
    return word_list(words[name])[code].label


def check_tables(
    client: Client, query: Mapping[str, str], found: list[tuple[Document, Document | None]]
) -> None:
    expected: Counter[tuple[str, str, str]] = Counter()
    for one, lesion in found:
        contents, calcified = context(lesion)
        for what in contents:
            expected["contents", one["situation"], what] += 1
        expected["calcification", one["situation"], calcified] += 1
        for table in ("contents", "calcification"):
            expected[table, one["situation"], "complications"] += 1
    rows = csv_of(client, "/lesions.csv", query)
    given = {
        (row["table"], row["situation"], row["of_the_lesion"]): int(row["complications"]) for row in rows
    }
    assert {key: number for key, number in given.items() if number} == expected


def test_map_and_tables_are_a_recount_of_the_documents(db: None) -> None:
    add_sites(*SITES)
    chance = Random(41)
    take(*(placed(case, chance) for case in invented_cases(400, seed=42)))
    cases = [json.loads(line) for line in export_lines(EVERYTHING)]
    client = a_member(*SITES)
    drawn = 0
    for query in (
        {},
        {"since": "2024-06"},
        {"since": "2024-03", "until": "2025-02", "site": "north"},
        {"situation": "wire_stuck", "until": "2025-06"},
    ):
        found = list(counted(cases, query))
        drawn += check_map(client, query, found)
        check_tables(client, query, found)
    assert drawn > 30


def test_who_has_one_site_sees_the_places_of_that_alone(north: None) -> None:
    add_sites("south")
    here = {**a_ladder("wire_stuck:"), "segments": ["7"]}
    take(a_case(here), a_case({**here, "segments": ["2"]}, id="S-1", site="south"))
    rows = csv_of(a_member("north", role=Role.OPERATOR), "/figures/places.csv", {})
    assert [row["place"] for row in rows] == [word_list("segment")["7"].label]
    page = text_of(shown(a_member("south"), "/places/", {"site": "north"}))
    assert "not a site of yours" in page and "1 complication in" not in page


def test_the_number_stands_in_the_picture_and_dates_partly_known_are_left_out(north: None) -> None:
    here = {**a_ladder("wire_stuck:"), "segments": ["7"]}
    take(
        *(a_case(here, id=f"N-{number}") for number in range(12)),
        a_case(here, id="Y-1", procedure={"date": "2026"}),
    )
    client = a_member("north")
    picture = shown(client, "/figures/places.svg", {"until": "2026-03"})
    assert ">12</text>" in picture and "12 in segment 7" in picture
    page = text_of(shown(client, "/places/", {"until": "2026-03"}))
    assert "1 complication (the date is only partly known and may lie outside the period)" in page
    assert "Only: Until 2026-03." in page


def test_what_is_missing_is_counted_and_of_nothing_missing_nothing_is_said(north: None) -> None:
    here = {**a_ladder("wire_stuck:"), "segments": ["7"], "lesion": "L1"}
    take(a_case(here, lesions=[{"ref": "L1", "segments": ["7"]}]))
    client = a_member("north")
    page = text_of(shown(client, "/places/"))
    assert "1 complication in 1 case. One complication may lie in several places." in page
    assert "recorded. A lesion may hold" not in page
    take(a_case(a_ladder("wire_stuck:"), id="N-2"))
    page = text_of(shown(client, "/places/"))
    assert "2 complications in 2 cases; 1 of 2 has no place recorded." in page
    assert "1 of 2 complications has no lesion recorded. A lesion may hold" in page


def test_an_empty_map_says_why_and_filters_are_refused_in_words(north: None) -> None:
    client = a_member("north")
    assert "No complication is recorded." in text_of(shown(client, "/places/"))
    assert client.get("/figures/places.csv").status_code == 404
    take(a_case(a_ladder("wire_stuck:")))
    assert "None of these complications has a place recorded." in text_of(shown(client, "/places/"))
    wrong = {"situation": "wire_stuk", "since": "2026-13"}
    page = text_of(shown(client, "/places/", wrong))
    assert "wire_stuck" in page and "Some filters could not be used" in page
    assert client.get("/lesions.csv", wrong).status_code == 400


def test_the_page_of_places_asks_few_questions(north: None) -> None:
    chance = Random(43)
    take(*(placed(a_case(a_ladder("wire_stuck:"), id=f"N-{number}"), chance) for number in range(30)))
    client = a_member("north")
    with few_questions():
        shown(client, "/places/")

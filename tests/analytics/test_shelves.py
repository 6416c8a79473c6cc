"""Tools wanted and not on the shelf: counted a second time from the documents, what followed, and how it ended."""

from __future__ import annotations

import csv
import io
import json
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from random import Random
from typing import Any

import pytest
from django.test import Client

from registry.drawings.phrases import lowered, named
from registry.recording.exports import export_lines
from registry.terms import Role
from registry.vocabulary import word_list
from tests.analytics.builders import EVERYTHING, add_sites, take
from tests.analytics.invented import SITES, invented_cases
from tests.analytics.page_reading import a_member, few_questions, shown, text_of
from tests.analytics.recount import cause, declined_keys, in_order, why_not, within
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

WANTING = ("not_on_shelf", "not_compatible_size")
DEALT_WITH = ("free", "retrieve", "secure", "leave", "hand_over")


def wanting(case: Document, chance: Random) -> Document:
    """The case, some of its declined options for want of a tool."""
    for one in case["complications"]:
        for option in one.get("declined") or []:
            option["reason"] = chance.choice([*WANTING, "would_lose_wire"])
    return case


def wishes(cases: list[Document], query: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    """Each option of the list, read from the documents."""
    period = (query.get("since", "0000") + "-00", query.get("until", "9999-99") + "-99")
    for case in cases:
        for number, one in enumerate(case["complications"]):
            if why_not(case, one) or not within(case, period):
                continue
            for option, faced, again in declined_keys(case, one):
                if option["reason"] not in WANTING or query.get("situation", faced) != faced:
                    continue
                yield {
                    "technique": option.get("technique"),
                    "reason": option["reason"],
                    "faced": faced,
                    "instead": _instead(one, option),
                    "again": again,
                    "ended": cause(one),
                    "complication": (case["site"], case["id"], number),
                }


def _instead(one: Document, option: Document) -> str:
    after = option.get("after_position")
    if after is None:
        return ""
    later = [action for action in in_order(one) if int(action["position"]) > int(after)]
    done = [action.get("technique") for action in later if action.get("aim") in DEALT_WITH]
    return " ".join(dict.fromkeys(code or "not_recorded" for code in done if code != option.get("technique")))


def csv_of(client: Client, query: Mapping[str, str]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(shown(client, "/tools-wanted.csv", query))))


def sections(page: str) -> dict[str, tuple[int, str]]:
    """The sections of the page by technique: complications, and words."""
    found = re.findall(
        r'<section class="wanted" data-technique="([^"]*)" data-complications="(\d+)">(.*?)</section>',
        page,
        re.DOTALL,
    )
    return {technique: (int(number), text_of(inside)) for technique, number, inside in found}


def test_the_list_is_a_recount_of_the_documents(db: None) -> None:
    add_sites(*SITES)
    chance = Random(51)
    take(*(wanting(case, chance) for case in invented_cases(400, seed=52)))
    cases = [json.loads(line) for line in export_lines(EVERYTHING)]
    client = a_member(*SITES)
    listed = 0
    queries: tuple[dict[str, str], ...] = (
        {},
        {"since": "2024-06", "until": "2025-03"},
        {"situation": "wire_stuck"},
    )
    for query in queries:
        expected = list(wishes(cases, query))
        given = csv_of(client, query)
        assert sorted(
            (row["technique"], row["reason"], row["situation_faced"], row["instead"], row["cause"])
            for row in given
        ) == sorted(
            (
                one["technique"] or "",
                one["reason"],
                one["faced"] or "",
                one["instead"],
                {"open": "censored", None: ""}.get(one["ended"], one["ended"]),
            )
            for one in expected
        )
        check_sections(sections(shown(client, "/tools-wanted/", query)), expected)
        listed += len(expected)
    assert listed > 200


def check_sections(found: dict[str, tuple[int, str]], expected: list[dict[str, Any]]) -> None:
    by_technique: dict[str, dict[Any, dict[str, Any]]] = defaultdict(dict)
    for one in expected:
        by_technique[one["technique"] or ""][one["complication"]] = one
    assert {technique: number for technique, (number, _) in found.items()} == {
        technique: len(ones) for technique, ones in by_technique.items()
    }
    for technique, ones in by_technique.items():
        ended = [one["ended"] for one in ones.values() if one["ended"] not in (None, "open")]
        said = f"{ended.count('out')} of {len(ended)}" if ended else "no ending known"
        assert said in found[technique][1]
    numbers = [number for number, _ in found.values()]
    assert numbers == sorted(numbers, reverse=True)


def a_wish(technique: str, reason: str = "not_on_shelf", **more: Any) -> Document:
    return a_ladder(
        "wire_stuck: steady_traction=unchanged, balloon_beside=resolved",
        declined=[{"technique": technique, "reason": reason, "after_position": 1}],
        **more,
    )


def test_a_tool_stands_with_its_class_its_cases_and_what_was_done_instead(north: None) -> None:
    take(
        a_case(a_wish("snare_single"), id="N-1"),
        a_case(a_wish("snare_single", "not_compatible_size", ending="left_in_place"), id="N-2"),
        a_case(a_wish("snare_single", "would_lose_wire"), id="N-3"),
    )
    client = a_member("north")
    page = shown(client, "/tools-wanted/")
    ((number, words),) = sections(page).values()
    assert number == 2
    for said in (
        "Devicesnare, single-loop",
        "not on the shelf in 1 and not in a size that fits in 1",
        "balloon beside it in 2",
        "1 of 2",
        "too few for a percentage",
        "March 2026, North",
    ):
        assert said in words, (said, words)
    links = re.findall(r'href="(/case/[^"]+)"', page)
    assert len(links) == 2 and all(client.get(link).status_code == 200 for link in links)


def test_the_sites_of_a_list_of_several_are_said(north: None) -> None:
    add_sites("south")
    take(
        a_case(a_wish("basket"), id="N-1"),
        a_case(a_wish("basket"), id="S-1", site="south"),
        a_case(a_wish("basket"), id="S-2", site="south"),
    )
    ((_, words),) = sections(shown(a_member("north", "south"), "/tools-wanted/")).values()
    assert "SiteNorth in 1; South in 2" in words and "wire stuck in 3" in words


def test_short_records_are_left_out_and_other_sites_are_not_seen(north: None) -> None:
    add_sites("south")
    take(
        a_case(a_wish("snare_single"), id="N-1", status="short"),
        a_case(a_wish("basket"), id="S-1", site="south"),
    )
    page = text_of(shown(a_member("north", role=Role.PRESENTER), "/tools-wanted/"))
    assert "No option was declined for want of a tool." in page
    assert "1 complication (short record, its actions are not abstracted)" in page
    assert sections(shown(a_member("south"), "/tools-wanted/")).keys() == {"basket"}


def test_pages_lead_to_each_other_and_wrong_filters_are_refused(north: None) -> None:
    client = a_member("north")
    for address in ("/techniques/", "/devices/", "/places/", "/tools-wanted/", "/sites/"):
        page = shown(client, address)
        for other in {"/places/", "/tools-wanted/", "/sites/"} - {address}:
            assert f'href="{other}"' in page
    assert client.get("/tools-wanted.csv?contents=sand").status_code == 400
    assert "not in the list" in text_of(shown(client, "/tools-wanted/", {"contents": "sand"}))


def test_the_list_asks_few_questions(north: None) -> None:
    take(*(a_case(a_wish("snare_single"), id=f"N-{number}") for number in range(30)))
    client = a_member("north")
    with few_questions():
        page = shown(client, "/tools-wanted/")
    assert "These are the newest; 10 more are in the CSV." in text_of(page)
    assert len(csv_of(client, {})) == 30


def test_the_most_frequent_situations_come_first_and_of_many_the_rest_is_a_number(north: None) -> None:
    take(
        *(
            a_case({**a_wish("snare_single"), "situation": situation}, id=f"{situation}-{number}")
            for place, situation in enumerate(list(word_list("situation").codes)[:11])
            for number in range(3 if place == 7 else 1)
        )
    )
    ((number, words),) = sections(shown(a_member("north"), "/tools-wanted/")).values()
    first = lowered(named("situation", list(word_list("situation").codes)[7], ""))
    assert number == 13
    assert f"Situation then{first} in 3; " in words
    assert "3 others, in the CSV" in words


def test_the_cases_of_a_long_list_are_opened_one_technique_at_a_time(north: None) -> None:
    client = a_member("north")
    take(*(a_case(a_wish("snare_single"), id=f"N-{number}") for number in range(30)))
    assert "<details open>" in shown(client, "/tools-wanted/")
    take(
        *(
            a_case(a_wish(technique), id=f"{technique}-{number}")
            for technique in ("basket", "forceps", "snare_multi")
            for number in range(20)
        )
    )
    page = shown(client, "/tools-wanted/")
    assert "<details>" in page and "<details open>" not in page

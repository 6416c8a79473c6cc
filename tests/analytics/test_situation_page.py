"""The page of a situation: published figures, attempts within cases, what is mostly tried first, and long orders."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest
from pytest import approx

from fixtures.generate import demo_documents
from fixtures.scenario import scenario
from tests.analytics.builders import add_sites, take
from tests.analytics.page_reading import ORDER, WIDE, a_member, read, rows_of, shown, text_of
from tests.analytics.test_worked_sets import LOST, set_a
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]


@pytest.mark.usefixtures("north")
def test_set_a_has_its_printed_figures_with_each_kind_of_limits() -> None:
    """Eggebrecht et al., Catheter Cardiovasc Interv 2000;51:432: small balloon 7 of 10, Wilson 39.68 to 89.22 %."""
    take(*set_a())
    client = a_member("north")
    by_technique = {row["technique"]: row for row in read(client, WIDE, LOST)}
    balloon = by_technique["small_balloon_through_stent"]
    assert (balloon["attempts"], balloon["resolved"]) == ("10", "7")
    assert (balloon["lower, Wilson"], balloon["upper, Wilson"]) == ("0.396778", "0.892209")
    assert (balloon["lower, adjusted for cases"], balloon["upper, adjusted for cases"]) == (
        "0.396778",
        "0.892209",
    )
    assert (balloon["design effect"], balloon["clusters"]) == ("1.000000", "10")
    assert (balloon["lower, exact"], balloon["upper, exact"]) == ("0.347547", "0.933260")
    page = shown(client, "/techniques/", {"situation": LOST})
    text = text_of(page)
    assert "In all 18 complications met this situation, of which 18 began with it" in text
    assert "was made in 16." in text
    assert "0.397 to 0.892 (Wilson), 0.348 to 0.933 (exact, Clopper and Pearson)" in text
    mixed = {key["mixed"]: text_of(inside) for key, inside in rows_of(page, "mixed")}
    assert "tried first in 10 of 10 attempts" in mixed["small_balloon_through_stent"]
    assert "cannot be standardised: never tried second" in mixed["small_balloon_through_stent"]
    assert "1 of 2 1 of 2" in mixed["snare_single"]
    table = {
        (row["attempt"], row["from"], row["to"]): row["complications"] for row in read(client, ORDER, LOST)
    }
    assert table["1", "Small balloon through the stent", "out or freed"] == "7"


@pytest.mark.usefixtures("north")
def test_set_d_in_its_order() -> None:
    """Iturbe et al., J Invasive Cardiol 2012;24:215: 9 lost, 7 tried, 2 out at the first attempt and 4 later."""
    kinds = [
        (2, "snare_single/retrieve=resolved", "out_whole"),
        (4, "snare_single/retrieve=unchanged, basket=resolved", "out_whole"),
        (1, "snare_single/retrieve=unchanged", "left_in_place"),
        (2, "", "left_in_place"),
    ]
    lost = [a_ladder(f"device_lost: {acts}", ending=ending) for n, acts, ending in kinds for _ in range(n)]
    take(*(a_case(one, id=f"I-{number}") for number, one in enumerate(lost)))
    client = a_member("north")
    table = [tuple(row.values()) for row in read(client, ORDER, "device_lost")]
    situation, snare, basket = "Other device lost in the heart", "Single-loop snare", "Basket"
    assert table == [
        ("0", situation, snare, "7"),
        ("0", situation, "no attempt", "2"),
        ("1", snare, basket, "4"),
        ("1", snare, "out or freed", "2"),
        ("1", snare, "left", "1"),
        ("2", basket, "out or freed", "4"),
    ]


def a_case_of_several(resolved: int, attempts: int, **more: object) -> Document:
    ladders = [
        a_ladder(
            f"wire_stuck: steady_traction={'resolved' if which < resolved else 'unchanged'}", ref=f"C{which}"
        )
        for which in range(attempts)
    ]
    return a_case(*ladders, **more)


@pytest.mark.usefixtures("north")
def test_one_case_of_several_attempts_is_said_and_has_no_design_effect() -> None:
    take(a_case_of_several(1, 3, id="N-1"))
    client = a_member("north")
    (row,) = read(client, WIDE, "wire_stuck")
    assert (row["clusters"], row["design effect"]) == ("1", "")
    page = text_of(shown(client, "/techniques/", {"situation": "wire_stuck"}))
    assert "all attempts are of one case, so there is no design effect to be told" in page


@pytest.mark.usefixtures("north")
def test_of_a_single_complication_no_total_is_made() -> None:
    take(a_case(a_ladder("wire_stuck: steady_traction=resolved")))
    page = text_of(shown(a_member("north"), "/techniques/", {"situation": "wire_stuck"}))
    assert "1 complication met this situation; it may stand in several rows" in page
    assert "In all" not in page


@pytest.mark.usefixtures("north")
def test_attempts_that_agree_within_cases_widen_the_limits() -> None:
    take(*(a_case_of_several(4 * (number % 2), 4, id=f"N-{number}") for number in range(8)))
    client = a_member("north")
    (row,) = read(client, WIDE, "wire_stuck")
    assert (row["resolved"], row["attempts"], row["clusters"]) == ("16", "32", "8")
    # All attempts of a case agree, so the correlation is 1 and the design effect the size of a case.
    assert float(row["design effect"]) == approx(4, abs=1e-6)
    assert float(row["lower, adjusted for cases"]) < float(row["lower, Wilson"])
    page = text_of(shown(client, "/techniques/", {"situation": "wire_stuck"}))
    assert "32 attempts in 8 cases; the limits are widened by a design effect of 4" in page


@pytest.mark.usefixtures("north")
def test_a_later_procedure_belongs_to_the_case_where_it_began() -> None:
    again = a_ladder(
        "wire_stuck: steady_traction=unchanged", began={"where": "earlier_procedure", "case": "N-1"}
    )
    take(a_case_of_several(1, 1, id="N-1"), a_case(again, id="N-2"))
    (row,) = read(a_member("north"), WIDE, "wire_stuck")
    assert (row["attempts"], row["cases"], row["clusters"]) == ("2", "2", "1")


def ladders_of(counts: Mapping[str, int]) -> list[Document]:
    lines = [line for line, number in counts.items() for _ in range(number)]
    return [a_case(a_ladder(f"wire_stuck: {line}"), id=f"N-{number}") for number, line in enumerate(lines)]


@pytest.mark.usefixtures("north")
def test_what_looks_good_for_being_tried_first_is_level_at_the_common_mix() -> None:
    """At every attempt both resolve alike, 1 in 2 first and 1 in 5 second; only how often each is first differs."""
    micro, balloon = "microcatheter_to_trap", "balloon_beside"
    take(
        *ladders_of(
            {
                f"{micro}=resolved": 20,
                f"{micro}=unchanged, {balloon}=resolved": 4,
                f"{micro}=unchanged, {balloon}=unchanged": 16,
                f"{balloon}=resolved": 5,
                f"{balloon}=unchanged, {micro}=resolved": 1,
                f"{balloon}=unchanged, {micro}=unchanged": 4,
            }
        )
    )
    client = a_member("north")
    found = {row["technique"]: row for row in read(client, WIDE, "wire_stuck")}
    crude = {name: int(row["resolved"]) / int(row["attempts"]) for name, row in found.items()}
    assert crude[micro] > crude[balloon] + 0.1
    assert found[micro]["share at the common mix"] == found[balloon]["share at the common mix"] == "0.400000"
    page = shown(client, "/techniques/", {"situation": "wire_stuck"})
    mixed = {key["mixed"]: text_of(inside) for key, inside in rows_of(page, "mixed")}
    assert "tried first in 40 of 45 attempts" in mixed[micro]
    assert "tried first in 10 of 30 attempts" in mixed[balloon]
    assert "unadjusted for order" in text_of(page) and 'href="#standardised"' in page


def test_in_the_demo_what_is_mostly_tried_first_is_not_ahead_at_the_common_mix() -> None:
    """Of a stuck wire the microcatheter has the higher crude share, and was never tried second."""
    sites = [site.code for site in scenario().sites]
    add_sites(*sites)
    take(*demo_documents())
    client = a_member(*sites)
    found = {row["technique"]: row for row in read(client, WIDE, "wire_stuck")}
    micro, balloon = found["microcatheter_to_trap"], found["balloon_beside"]
    crude = [int(row["resolved"]) / int(row["attempts"]) for row in (micro, balloon)]
    assert crude[0] > crude[1] + 0.2
    assert micro["share at the common mix"] == ""
    assert float(balloon["share at the common mix"]) > crude[1]
    page = shown(client, "/techniques/", {"situation": "wire_stuck"})
    mixed = {key["mixed"]: text_of(inside) for key, inside in rows_of(page, "mixed")}
    said = mixed["microcatheter_to_trap"]
    assert f"tried first in {micro['attempts, first']} of {micro['attempts']} attempts" in said
    assert int(micro["attempts, first"]) / int(micro["attempts"]) > 0.8
    assert "cannot be standardised: never tried second" in said


@pytest.mark.usefixtures("north")
def test_many_techniques_and_attempts_are_drawn_together_and_said() -> None:
    names = (
        *("steady_traction", "vasodilator", "balloon_beside", "microcatheter_to_trap", "redilate_at_trap"),
        *("balloon_through_cell", "guide_extension_traction", "atherectomy_beside", "trap_balloon_in_guide"),
    )
    take(a_case(a_ladder("wire_stuck: " + ", ".join(f"{name}=unchanged" for name in names)), id="N-1"))
    client = a_member("north")
    page = text_of(shown(client, "/techniques/", {"situation": "wire_stuck"}))
    said = re.search(r"Drawn together as other techniques: ([^.]+)\.", page)
    assert said and said[1] == said[1].lower()
    assert "What followed the 5th attempt is not drawn." in page
    table = read(client, ORDER, "wire_stuck")
    assert table[-1]["to"] == "a 6th attempt, and further"

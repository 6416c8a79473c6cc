"""The picture of endings by attempt: its table is the curve, a recount of the documents and the published figures."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from fractions import Fraction
from typing import Any

import pytest
from django.test import Client
from pytest import approx

from analytics import figures, summaries
from analytics.cohorts import Filters
from registry.recording.exports import export_lines
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, returns, take
from tests.analytics.invented import SITES, SITUATIONS, invented_cases
from tests.analytics.page_reading import a_member, shown, text_of
from tests.analytics.test_worked_sets import LOST, set_a, set_b
from tests.builders import a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

CAUSES = {
    "out": "out or freed",
    "secured": "secured",
    "left": "left",
    "surgery": "surgery",
    "died": "died with it still in",
}
CSV = "/figures/endings-by-attempt.csv"


def table(client: Client, situation: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(shown(client, CSV, {"situation": situation}))))


def recounted(cases: list[dict[str, Any]], situation: str) -> list[dict[str, Any]]:
    """The same table by exact fractions: share by then = share before + open before x events / at risk."""
    only = [
        {**case, "complications": [one for one in case["complications"] if one["situation"] == situation]}
        for case in cases
    ]
    left: Counter[tuple[int, str | None]] = Counter()
    for case, whole in zip(only, cases, strict=True):
        for one in case["complications"]:
            if not recount.why_not_in_curve(whole, one):
                left[len(recount.attempts(one)), recount.cause(one)] += 1
    rows = []
    last = max((attempt for attempt, _ in left), default=0)
    shares, still = dict.fromkeys(CAUSES, Fraction(0)), Fraction(1)
    for attempt in range(min(min((a for a, _ in left), default=1), 1), last + 1):
        at_risk = sum(number for (made, _), number in left.items() if made >= attempt)
        before = still
        for cause in CAUSES:
            shares[cause] += before * Fraction(left[attempt, cause], at_risk)
            still -= before * Fraction(left[attempt, cause], at_risk)
        rows.append({"attempt": attempt, "at_risk": at_risk, "still": still, **shares})
    return rows


def test_the_table_is_a_recount_of_the_documents() -> None:
    add_sites(*SITES)
    take(*invented_cases(500, seed=31))
    client = a_member(*SITES)
    cases = [json.loads(line) for line in export_lines(EVERYTHING)]
    for situation in SITUATIONS:
        found, wanted = table(client, situation), recounted(cases, situation)
        assert len(found) == len(wanted) > 3
        for row, expected in zip(found, wanted, strict=True):
            assert int(row["attempts made"]) == expected["attempt"]
            assert int(row["at risk"]) == expected["at_risk"]
            for cause, name in CAUSES.items():
                assert float(row[f"{name}: share by then"]) == approx(float(expected[cause]), abs=6e-7)
            assert float(row["still open: share by then"]) == approx(float(expected["still"]), abs=6e-7)


@pytest.mark.usefixtures("north")
def test_set_a_has_its_published_figures_in_the_table_and_on_the_page() -> None:
    take(*set_a())
    client = a_member("north")
    rows = table(client, LOST)
    assert [(row["attempts made"], row["at risk"]) for row in rows] == [("1", "15"), ("2", "2")]
    assert [row["out or freed: number"] for row in rows] == ["9", "1"]
    assert rows[-1]["out or freed: share by then"] == "0.666667"
    assert rows[-1]["surgery: share by then"] == "0.200000"
    page = text_of(shown(client, "/techniques/", {"situation": LOST}))
    assert "Of 15 complications by 2 attempts: 10 out or freed, 2 secured and 3 surgery." in page
    assert "3 complications (the ending is unknown or other)" in page


@pytest.mark.usefixtures("north")
def test_set_b_has_its_published_figures_in_the_table_the_picture_and_on_the_page() -> None:
    """Dunning et al., J Interv Cardiol 2002: of 40 out 16, surgery 3, deployed elsewhere 7, lost 14 (5 somewhere)."""
    take(*set_b())
    client = a_member("north")
    rows = table(client, LOST)
    assert [(row["attempts made"], row["at risk"]) for row in rows] == [("0", "40"), ("1", "26")]
    assert [row["left: number"] for row in rows] == ["14", "0"]
    assert [row["left, at an unknown place: number"] for row in rows] == ["5", "0"]
    assert [row["left: share by then"] for row in rows] == ["0.350000", "0.350000"]
    by_one = {name: rows[1][f"{name}: share by then"] for name in ("out or freed", "secured", "surgery")}
    assert by_one == {"out or freed": "0.400000", "secured": "0.175000", "surgery": "0.075000"}
    page = text_of(shown(client, "/techniques/", {"situation": LOST}))
    assert (
        "Of 40 complications by 1 attempt: 16 out or freed, 7 secured, 14 left (of these 5 at an unknown place) "
        "and 3 surgery." in page
    )
    picture = shown(client, "/figures/endings-by-attempt.svg", {"situation": LOST})
    for label in ("out or freed 40% (16)", "secured 18% (7)", "left 35% (14)", "surgery 8% (3)"):
        assert label in picture


@pytest.mark.usefixtures("north")
def test_set_b_is_40_cases_of_11881_procedures_wherever_procedures_are_counted() -> None:
    """3.367 per 1,000, limits 2.405 to 4.585 by Garwood (recomputed)."""
    take(*set_b())
    returns("north,2026-03,11881,all_reported,p-001")
    client = a_member("north")
    page = text_of(shown(client, "/devices/over-time/"))
    assert "40 cases in 11,881 procedures, 3.4 per 1,000 (2.4 to 4.6)" in page
    (month,) = csv.DictReader(io.StringIO(shown(client, "/figures/cases-by-month.csv")))
    assert {"40", "11881"} <= set(month.values())
    (site,) = csv.DictReader(io.StringIO(shown(client, "/sites.csv")))
    rate = [float(site[name]) for name in ("rate_per_1000", "lower", "upper")]
    assert (site["cases"], site["procedures"]) == ("40", "11881")
    assert rate == approx([3.367, 2.405, 4.585], abs=5e-4)


@pytest.mark.usefixtures("north")
def test_what_was_accepted_as_it_is_stands_apart_within_what_was_left() -> None:
    endings = ["accepted_as_is", "left_in_place", "left_in_place"]
    take(*(a_case(a_ladder("device_lost:", ending=one), id=f"I-{n}") for n, one in enumerate(endings)))
    (row,) = table(a_member("north"), "device_lost")
    assert (row["left: number"], row["left, accepted as it is: number"]) == ("3", "1")
    assert row["left, at an unknown place: number"] == "0"


@pytest.mark.usefixtures("north")
def test_set_d_has_its_published_figures_and_no_percentage_below_ten() -> None:
    """Iturbe et al., J Invasive Cardiol 2012;24:215: 9 lost, tried 7, out 6, of these 2 at the first attempt."""
    untried = [a_ladder("device_lost:", ending="left_in_place")] * 2
    at_once = [a_ladder("device_lost: snare_single/retrieve=resolved")] * 2
    later = [a_ladder("device_lost: snare_single/retrieve=unchanged, basket=resolved")] * 4
    tried = [a_ladder("device_lost: snare_single/retrieve=unchanged", ending="left_in_place")]
    take(*(a_case(one, id=f"I-{n}") for n, one in enumerate(untried + at_once + later + tried)))
    rows = table(a_member("north"), "device_lost")
    assert [row["at risk"] for row in rows] == ["9", "7", "4"]
    assert [row["out or freed: share by then"] for row in rows] == ["0.000000", "0.222222", "0.666667"]
    assert [row["left: share by then"] for row in rows] == ["0.222222", "0.333333", "0.333333"]
    figure = figures.endings_by_attempt(summaries.curve(EVERYTHING, Filters()), "Device lost")
    assert figure is not None
    assert "%" not in "".join(figure.content)
    assert "out or freed: 6" in "".join(figure.content)


@pytest.mark.usefixtures("north")
def test_what_was_not_seen_to_its_end_is_drawn_as_open() -> None:
    """Worked example E9: out .50, secured .30, died .20 at attempt 2; at risk 5, 2."""
    ladders = [
        ("steady_traction=resolved", "out_whole"),
        ("steady_traction=unchanged, snare_single/free=resolved", "out_whole"),
        ("steady_traction=unchanged, deploy_in_place=resolved", "deployed_in_place"),
        ("steady_traction=unchanged", "died_before_end"),
        ("steady_traction=unchanged", "transferred_open"),
    ]
    take(
        *(
            a_case(a_ladder(f"wire_stuck: {acts}", ending=e), id=f"N-{e}-{n}")
            for n, (acts, e) in enumerate(ladders)
        )
    )
    rows = table(a_member("north"), "wire_stuck")
    assert [row["at risk"] for row in rows] == ["5", "2"]
    assert [rows[1][f"{name}: share by then"] for name in CAUSES.values()] == [
        "0.500000",
        "0.300000",
        "0.000000",
        "0.000000",
        "0.200000",
    ]
    assert rows[0]["not seen to the end: number"] == "1"
    assert [row["still open: share by then"] for row in rows] == ["0.600000", "0.000000"]


@pytest.mark.usefixtures("north")
def test_without_a_place_in_the_curve_there_is_no_picture_and_a_reason() -> None:
    take(a_case(a_ladder("wire_stuck: steady_traction=unchanged", ending="unknown"), id="N-1"))
    client = a_member("north")
    assert client.get(CSV, {"situation": "wire_stuck"}).status_code == 404
    page = text_of(shown(client, "/techniques/", {"situation": "wire_stuck"}))
    assert "has a place in the curve. Left out: 1 complication (the ending is unknown or other)." in page

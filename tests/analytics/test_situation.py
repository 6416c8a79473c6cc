"""The page of a situation: every figure beside the counts of attempts equals a recount of the exported documents."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterator
from decimal import Decimal
from random import Random
from statistics import median
from typing import Any

import pytest
from pytest import approx

from analytics import figures, summaries
from analytics.answers_techniques import STRATA, SituationFigures, TechniqueInSituation
from analytics.cohorts import Filters
from analytics.statistics.proportions import clopper_pearson, clustered_wilson, wilson
from registry.recording.exports import export_lines
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, rows, take
from tests.analytics.invented import SITES, SITUATIONS, invented_cases
from tests.analytics.page_reading import ORDER, WIDE, a_member, read, rows_of, shown, text_of

pytestmark = [pytest.mark.data, pytest.mark.django_db]

Json = dict[str, Any]
REASONS = ("would_lose_wire", "not_on_shelf", "poor_target", None)


def invented(number: int, seed: int) -> list[Json]:
    """Invented cases of which some went on in a later procedure; minutes and reasons of more kinds."""
    chance = Random(seed)
    cases = invented_cases(number, seed=seed)
    for case in cases:
        for complication in case["complications"]:
            if chance.random() < 0.4:
                earlier = {"where": "earlier_procedure", "case": f"R-{chance.randint(0, number // 9)}"}
                complication["began"] = earlier
            for action in complication.get("actions") or []:
                if chance.random() < 0.6:
                    action["minutes"] = chance.choice((1, Decimal("2.5"), 4, 10))
            for option in complication.get("declined") or []:
                option.pop("reason", None)
                if reason := chance.choice(REASONS):
                    option["reason"] = reason
    return cases


@pytest.fixture
def documents(db: None) -> list[Json]:
    """The exported documents of a registry of strange cases."""
    add_sites(*SITES)
    take(*invented(420, seed=41))
    return [json.loads(line) for line in export_lines(EVERYTHING)]


def faced(cases: list[Json], situation: str) -> Iterator[tuple[Json, Json, recount.Tried]]:
    """Each attempt in the situation, in its order, with its case and complication."""
    for case, complication in recount.each(cases, recount.ALWAYS):
        if not recount.why_not(case, complication):
            for one in recount.attempts(complication):
                if one.faced == situation:
                    yield case, complication, one


def of_situation(situation: str) -> SituationFigures:
    return summaries.situation(EVERYTHING, Filters(situation=situation))


def by_key(found: SituationFigures) -> dict[tuple[str | None, str], TechniqueInSituation]:
    return {(one.record.technique, one.record.aim): one for one in found.techniques}


def test_limits_allow_for_the_attempts_that_each_case_has(documents: list[Json]) -> None:
    for situation in SITUATIONS:
        clusters: dict[Any, Counter[tuple[str, str]]] = defaultdict(Counter)
        resolved: dict[Any, Counter[tuple[str, str]]] = defaultdict(Counter)
        for case, complication, one in faced(documents, situation):
            if one.result != "unknown":
                began = (complication.get("began") or {}).get("case") or case["id"]
                clusters[one.technique, one.aim][case["site"], began] += 1
                resolved[one.technique, one.aim][case["site"], began] += one.result == "resolved"
        widened = 0
        for key, found in by_key(of_situation(situation)).items():
            trials = list(clusters[key].values())
            won = [resolved[key][case] for case in clusters[key]]
            assert found.adjusted.clusters == len(trials)
            if trials:
                expected = clustered_wilson(won, trials)
                assert (found.adjusted.lower, found.adjusted.upper) == approx(
                    (expected.lower, expected.upper)
                )
                assert (found.record.lower, found.record.upper) == approx(
                    tuple(map(float, wilson(sum(won), sum(trials))))
                )
                assert found.adjusted.exact == approx(
                    tuple(map(float, clopper_pearson(sum(won), sum(trials))))
                )
                effect = float(expected.design_effect)
                assert (found.adjusted.design_effect is None) == (effect != effect)
                widened += effect > 1
        assert widened


def test_tries_and_minutes_are_a_recount(documents: list[Json]) -> None:
    for situation in SITUATIONS:
        tries: dict[Any, Counter[tuple[int, str]]] = defaultdict(Counter)
        lasted: dict[Any, list[float | None]] = defaultdict(list)
        for _, complication, one in faced(documents, situation):
            key = (one.technique, one.aim)
            tries[key][one.number, one.result if one.result in ("resolved", "unknown") else "other"] += 1
            acts = {int(act["position"]): act.get("minutes") for act in complication["actions"]}
            known = [float(acts[at]) for at in one.at if acts[at] not in (None, "unknown")]
            if one.result != "unknown":
                lasted[key].append(sum(known) if known else None)
        found = by_key(of_situation(situation))
        assert found.keys() == tries.keys()
        for key, technique in found.items():
            counts = tries[key]
            assert {(one.number, one.attempts, one.resolved, one.unknown) for one in technique.tries} == {
                (
                    number,
                    counts[number, "resolved"] + counts[number, "other"],
                    counts[number, "resolved"],
                    counts[number, "unknown"],
                )
                for number, _ in counts
            }
            timed = [one for one in lasted[key] if one is not None]
            assert technique.minutes.median == (approx(median(timed)) if timed else None)
            assert (technique.minutes.known, technique.minutes.missing) == (
                len(timed),
                len(lasted[key]) - len(timed),
            )
            first = sum(n for (number, result), n in counts.items() if number == 1 and result != "unknown")
            assert technique.tried_first == first


def test_shares_at_the_common_mix_are_a_recount(documents: list[Json]) -> None:
    """By hand: the sum over strata of the share of all attempts of that aim times the technique's own share."""
    for situation in SITUATIONS:
        made: dict[Any, Counter[int]] = defaultdict(Counter)
        won: dict[Any, Counter[int]] = defaultdict(Counter)
        mix: dict[str, Counter[int]] = defaultdict(Counter)
        for _, _, one in faced(documents, situation):
            if one.result != "unknown":
                stratum = min(one.number, 3)
                made[one.technique, one.aim][stratum] += 1
                won[one.technique, one.aim][stratum] += one.result == "resolved"
                mix[one.aim][stratum] += 1
        standardised = 0
        for key, found in by_key(of_situation(situation)).items():
            weights = mix[key[1]]
            missing = [STRATA[stratum - 1] for stratum in sorted(weights) if not made[key][stratum]]
            assert list(found.standardised.missing) == missing
            if missing or not weights:
                assert found.standardised.share is None
            else:
                share = sum(n * won[key][s] / made[key][s] for s, n in weights.items()) / sum(
                    weights.values()
                )
                assert found.standardised.share == approx(share)
                assert found.standardised.lower is not None and found.standardised.upper is not None
                assert found.standardised.lower <= share <= found.standardised.upper
                standardised += 1
        assert standardised


def test_success_at_each_attempt_is_a_recount(documents: list[Json]) -> None:
    for situation in SITUATIONS:
        made: Counter[tuple[str, int]] = Counter()
        won: Counter[tuple[str, int]] = Counter()
        for _, _, one in faced(documents, situation):
            made[one.aim, one.number] += one.result != "unknown"
            won[one.aim, one.number] += one.result == "resolved"
        found = of_situation(situation).by_attempt
        assert {(one.aim, one.number): (one.attempts, one.resolved) for one in found} == {
            key: (made[key], won[key]) for key in made
        }


def test_what_was_considered_and_why_it_was_declined_is_a_recount(documents: list[Json]) -> None:
    for situation in SITUATIONS:
        reasons: dict[Any, dict[str, set[int]]] = defaultdict(lambda: defaultdict(set))
        for number, (case, complication) in enumerate(recount.each(documents, recount.ALWAYS)):
            if not recount.why_not(case, complication):
                for option, key, _ in recount.declined_keys(case, complication):
                    if key == situation:
                        reasons[option.get("technique")][option.get("reason") or ""].add(number)
        expected = {
            row[0]: tuple(map(int, row[2:])) for row in recount.considered(documents) if row[1] == situation
        }
        found = of_situation(situation).considered
        assert {
            one.technique or "": (one.considered, one.tried, one.declined, one.tried_later) for one in found
        } == expected
        for one in found:
            assert dict(one.reasons) == {why: len(which) for why, which in reasons[one.technique].items()}


def links(cases: list[Json], situation: str) -> Counter[tuple[Any, ...]]:
    """From each attempt in the situation to the next in it, or to what became of the complication."""
    sequences: dict[tuple[str, str, int], list[recount.Tried]] = defaultdict(list)
    ends: dict[tuple[str, str, int], str | None] = {}
    for case in cases:
        for which, complication in enumerate(case["complications"]):
            if recount.why_not(case, complication):
                continue
            key = (case["site"], case["id"], which)
            tried = recount.attempts(complication)
            sequences[key] = [one for one in tried if one.faced == situation]
            later = bool(sequences[key]) and tried[-1] is not sequences[key][-1]
            how = recount.cause(complication)
            ends[key] = "went_on" if later else "censored" if how == "open" else how
    found: Counter[tuple[Any, ...]] = Counter()
    for key, listed in sequences.items():
        for here, after in zip(listed, [*listed[1:], None][: len(listed)], strict=True):
            then = None if after is None else after.technique or ""
            found[here.number, here.technique, then, ends[key] if after is None else None] += 1
    return found


def test_what_was_tried_after_what_is_a_recount(documents: list[Json]) -> None:
    for situation in SITUATIONS:
        found = {
            (one.number, one.technique, one.then, one.ending): one.complications
            for one in of_situation(situation).order
        }
        assert found == links(documents, situation)


def test_what_goes_into_each_box_comes_out_of_it(documents: list[Json]) -> None:
    client = a_member(*SITES)
    for situation in SITUATIONS:
        table = read(client, ORDER, situation)
        met = summaries.extent(EVERYTHING, Filters(situation=situation)).complications
        into: Counter[tuple[int, str]] = Counter()
        out: Counter[tuple[int, str]] = Counter()
        for row in table:
            out[int(row["attempt"]), row["from"]] += int(row["complications"])
            into[int(row["attempt"]) + 1, row["to"]] += int(row["complications"])
        assert sum(number for (column, _), number in out.items() if column == 0) == met
        assert {place: into[place] for place in out if place[0]} == {
            place: number for place, number in out.items() if place[0]
        }
        ended = sum(number for place, number in into.items() if place not in out)
        assert ended == met


def test_the_total_is_that_of_the_endings_and_no_sum_of_rows(documents: list[Json]) -> None:
    for situation in SITUATIONS:
        (ending,) = (row for row in rows("endings") if row["situation"] == situation)
        found = of_situation(situation)
        extent = summaries.extent(EVERYTHING, Filters(situation=situation))
        assert found.began == int(ending["complications"])
        said = figures.totals_in_words(found, extent)
        assert (
            f"In all {extent.complications} complications met this situation, of which {found.began} began"
            in said
        )
        tried = {
            (case["site"], case["id"], complication["ref"])
            for case, complication, _ in faced(documents, situation)
        }
        assert f"was made in {len(tried)}." in said


def test_page_and_file_say_the_same(documents: list[Json]) -> None:
    client = a_member(*SITES)
    standardised = 0
    for situation in SITUATIONS:
        page = shown(client, "/techniques/", {"situation": situation})
        wide = read(client, WIDE, situation)
        mixed = rows_of(page, "mixed")
        assert [row["technique"] for row in wide] == [key["mixed"] or "not recorded" for key, _ in mixed]
        for row, (_, inside) in zip(wide, mixed, strict=True):
            said = text_of(inside)
            if row["attempts"] != "0":
                assert f"tried first in {row['attempts, first']} of {row['attempts']} attempt" in said
            share = row["share at the common mix"]
            if share and int(row["attempts"]) >= 10:
                assert f" {float(share) * 100:.0f}% (" in said
                standardised += 1
            elif not share and row["attempts"] != "0":
                assert "cannot be standardised: never tried" in said
        options = {key["option"]: text_of(inside) for key, inside in rows_of(page, "option")}
        for row in wide:
            said = options[row["technique"].replace("not recorded", "")]
            assert f" {row['considered']} {'none' if row['tried'] == '0' else row['tried']} " in said
            assert f"{row['complications resolved']} of {row['considered']} to " in said
    assert standardised > 10

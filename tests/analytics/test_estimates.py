"""What an honest reader must be shown beside a figure, and what no figure may do."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics import answers, estimates
from analytics.answers import DeviceRate, TechniqueRecord
from analytics.answers_devices import Drawn
from analytics.answers_techniques import Adjusted, Minutes, Standardised, TechniqueInSituation
from analytics.estimates import Estimate, many_compared, rate, share
from analytics.figures import models_table, technique_lines
from analytics.templatetags.device_table import device_rows
from registry.cautions import CAUTIONS

pytestmark = pytest.mark.pure

counted = st.integers(0, 60).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total)))


def codes(found: Estimate) -> set[str]:
    return {one.code for one in found.cautions}


def said(found: Estimate) -> str:
    return " ".join(map(str, found.cautions))


@given(counted, st.integers(0, 20))
def test_a_share_has_counts_limits_method_level_and_unit_or_no_estimate_at_all(
    pair: tuple[int, int], missing: int
) -> None:
    count, total = pair
    found = share(count, total, unit="attempts", missing=missing)
    assert (found.count, found.total, found.unit) == (count, total, "attempts")
    assert (found.method, found.level) == ("Wilson", 0.95)
    if total:
        assert found.estimate == count / total
        assert found.with_limits is not None
        estimate, lower, upper = found.with_limits
        assert 0 <= lower <= estimate <= upper <= 1
    else:
        assert (found.estimate, found.lower, found.upper, found.percentage) == (None, None, None, None)
        assert found.with_limits is None and "nothing_to_divide" in codes(found)


@given(counted)
def test_there_is_a_percentage_of_some_of_ten_or_more_alone(pair: tuple[int, int]) -> None:
    count, total = pair
    found = share(count, total, unit="attempts")
    assert (found.percentage is not None) == (total >= 10 and count > 0)
    assert ("few_to_compare" in codes(found)) == (0 < total < 10)
    assert ("none_resolved" in codes(found)) == (total >= 10 and count == 0)


@given(st.integers(0, 40), st.integers(0, 10**6), st.integers(0, 3))
def test_a_rate_has_an_exposure_and_is_no_zero_beside_secondary_events(
    events: int, exposure: int, secondary: int
) -> None:
    found = rate(events, exposure, unit="uses", secondary=secondary)
    if not exposure:
        assert found.estimate is None and codes(found) == {"no_denominator"}
    elif secondary and not events:
        assert found.estimate is None and codes(found) == {"secondary_only"}
    else:
        assert found.with_limits is not None
        assert found.few == (events < 5)
        assert ("none_seen" in codes(found)) == (events == 0)
    assert found.percentage is None


def test_few_are_named_with_both_counts() -> None:
    assert said(share(3, 4, unit="attempts")) == "3 of 4; too few to compare."


def test_none_seen_is_an_upper_limit() -> None:
    """Upper limit: Garwood, Biometrika 1936;28:437-442, 3.688879 events, so 2.45925 per 1,000 of 1,500."""
    found = rate(0, 1_500, unit="uses")
    assert found.upper == pytest.approx(2.45925, abs=5e-6)
    assert "None seen in 1,500 uses: up to 2.46 per 1,000." in said(found)
    assert "None seen in 1 use: " in said(rate(0, 1, unit="uses"))


def test_limits_that_a_table_has_already_are_taken() -> None:
    assert share(5, 20, unit="attempts", limits=(0.1, 0.5)).with_limits == (0.25, 0.1, 0.5)
    assert rate(5, 1_000, unit="uses", limits=(1.0, 9.0)).with_limits == (5.0, 1.0, 9.0)


def test_a_twentieth_missing_is_passed_over_and_more_is_bounded_both_ways() -> None:
    assert "missing_above_5_percent" not in codes(share(10, 19, unit="attempts", missing=1))
    found = share(10, 18, unit="attempts", missing=2)
    assert said(found) == (
        "No known result in 2 of 20 attempts: had none or all of them resolved, it would be 10 or 12 of 20."
    )


def test_attempts_from_fewer_cases_are_said_to_be_counted_as_if_apart() -> None:
    assert codes(share(10, 20, unit="attempts", cases=20)) == set()
    found = share(10, 20, unit="attempts", cases=15)
    assert said(found).startswith("20 attempts in 15 cases: ")
    assert codes(found) == {"counted_as_if_apart", "informative_cluster_size"}


def test_limits_widened_for_cases_say_by_how_much_and_what_they_do_not_mend() -> None:
    found = share(60, 203, unit="attempts", limits=(0.228481, 0.372830), cases=100, design_effect=1.349133)
    assert "203 attempts in 100 cases; the limits are widened by a design effect of 1.35." in said(found)
    assert codes(found) == {"clustered", "informative_cluster_size"}


def test_estimates_have_no_order() -> None:
    with pytest.raises(TypeError):
        sorted([share(1, 20, unit="attempts"), share(2, 20, unit="attempts")])  # type: ignore[type-var]


def test_an_estimate_is_never_changed_afterwards() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        share(1, 20, unit="attempts").count = 2  # type: ignore[misc]


def test_many_compared_say_how_many_fall_outside_by_chance() -> None:
    assert str(many_compared(40)).startswith("40 compared: about 2 of them fall outside limits of 95 %")
    assert "about 1 of them fall outside limits of 99.8 %" in str(many_compared(500, 0.998))


ALWAYS = {
    "any rate": ({"nothing_to_divide"}, {"count", "total", "lower", "upper", "method", "level", "unit"}),
    "n < 10": ({"few_to_compare"}, {"count", "total", "lower", "upper"}),
    "zero events": ({"none_seen", "none_resolved"}, {"upper"}),
    "per-technique success": ({"unadjusted_for_order"}, set()),
    "order of attempts": ({"observational", "unadjusted_for_order"}, set()),
    "declined actions": ({"declined", "declined_left_out"}, set()),
    "cumulative resolution": ({"competing_endings"}, set()),
    "clustered data": ({"clustered", "counted_as_if_apart", "informative_cluster_size"}, set()),
    "device rate": ({"no_denominator", "denominator_source", "secondary_only"}, set()),
    "shrunken estimates": ({"shrunken"}, set()),
    "many comparisons": ({"many_compared", "overdispersed"}, set()),
    "trend": ({"signal_means_review"}, set()),
    "similar cases": ({"similar_cases"}, set()),
    "missing data": ({"missing_above_5_percent"}, set()),
    "selection": ({"selection_of_reports"}, set()),
}
"""The table of what each analysis reports to an honest reader: cautions of the catalogue, and fields of an estimate."""


@pytest.mark.parametrize("analysis", ALWAYS)
def test_what_is_always_shown_has_a_caution_or_a_field(analysis: str) -> None:
    cautions, fields = ALWAYS[analysis]
    assert cautions <= CAUTIONS.keys()
    assert fields <= {field.name for field in dataclasses.fields(Estimate)}


def test_what_a_table_rests_on_names_its_window_sites_and_operators() -> None:
    fields = {field.name for field in dataclasses.fields(answers.Extent)}
    assert {"first", "last", "sites", "operators", "complications", "cases"} <= fields


@pytest.mark.parametrize(
    ("code", "figures"),
    [
        ("declined", {"declined", "considered", "attempted", "resolved"}),
        ("clustered", {"attempts", "cases", "design_effect"}),
        ("denominator_source", {"recorded", "site_months"}),
        ("shrunken", {"prior", "groups"}),
        ("many_compared", {"compared", "expected", "level"}),
        ("signal_means_review", {"baseline", "threshold", "in_control", "out_of_control", "boundary"}),
        ("similar_cases", {"variables", "weights", "missing", "found"}),
        ("missing_above_5_percent", {"missing", "all", "lowest", "highest"}),
    ],
)
def test_a_caution_cannot_be_printed_without_its_figures(code: str, figures: set[str]) -> None:
    assert {name for name in figures if f"{{{name}}}" not in CAUTIONS[code]} == set()


def test_tables_of_techniques_and_of_devices_carry_their_cautions() -> None:
    assert {"observational", "unadjusted_for_order", "not_compared"} <= set(answers.OF_TECHNIQUES)
    assert "selection_of_reports" in answers.OF_DEVICES
    assert {*answers.OF_TECHNIQUES, *answers.OF_DEVICES} <= CAUTIONS.keys()


def a_technique(resolved: int, attempts: int, technique: str = "snare_single") -> TechniqueRecord:
    whole = {field.name: 0 for field in dataclasses.fields(TechniqueRecord)}
    limits = share(resolved, attempts, unit="attempts")
    return TechniqueRecord(
        **{
            **whole,
            "technique": technique,
            "situation_faced": "wire_fractured",
            "aim": "retrieve",
            "attempt_in_situation": None,
            "attempts": attempts,
            "resolved": resolved,
            "cases": attempts,
            "lower": limits.lower,
            "upper": limits.upper,
        }  # type: ignore[arg-type]
    )


def in_a_situation(record: TechniqueRecord) -> TechniqueInSituation:
    adjusted = Adjusted(record.attempts, record.lower, record.upper, None, (record.lower, record.upper))
    nothing = Standardised(None, None, None, ("second",))
    return TechniqueInSituation(record, (), adjusted, nothing, Minutes(None, 0, record.attempts))


@given(counted)
def test_no_line_of_a_page_has_a_share_below_ten_or_without_trials(pair: tuple[int, int]) -> None:
    (line,) = technique_lines([in_a_situation(a_technique(*pair))], [])
    assert (line.share is None) == (pair[1] < estimates.FEWEST_FOR_A_PERCENTAGE)
    assert ("few" in line.picture) == (0 < pair[1] < 10)
    assert bool(line.picture) == (pair[1] > 0)


@given(counted, counted)
def test_lines_stand_by_name_whatever_their_shares(one: tuple[int, int], other: tuple[int, int]) -> None:
    rows = (a_technique(*one, "snare_single"), a_technique(*other, "forceps"))
    lines = technique_lines([in_a_situation(row) for row in rows], [])
    assert [line.record.technique for line in lines] == ["forceps", "snare_single"]


@given(st.integers(0, 12), st.integers(1, 10**4))
def test_no_line_of_a_device_has_a_solid_dot_below_five_events(events: int, uses: int) -> None:
    limits = rate(events, uses, unit="uses")
    record = DeviceRate("m", "guidewire", events, 0, uses, 0, limits.estimate, limits.lower, limits.upper)
    row = device_rows(models_table((record,), {}, {}, Drawn({}, 0, None, None, ""), {}))
    assert ('class="interval-line few"' in row) == (events < 5)
    assert ("<circle" in row) <= (events > 0)

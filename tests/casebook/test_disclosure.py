"""The disclosure rule: for any set of cases every class that is released is large enough, or nothing is."""

from __future__ import annotations

import datetime
from collections import Counter
from itertools import compress
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from casebook.disclosure import ReleaseRefused, judged, period_of, report
from registry.deidentify.case_view import DeidentifiedCase

pytestmark = pytest.mark.pure

TODAY = datetime.date(2026, 6, 30)
SITES = ("S1", "S2")


def a_view(
    number: int,
    site: str = "S1",
    year: int = 2025,
    age_band: str = "60 to 69",
    sex: str = "male",
    device_class: str = "guidewire",
    situation: str = "wire_stuck",
    segments: tuple[str, ...] | None = ("2",),
) -> DeidentifiedCase:
    complication = {"ref": "C1", "situation": situation, "lesion": "L1"}
    if segments is not None:
        complication["segments"] = segments  # type: ignore[assignment]
    content = {"complications": (complication,), "lesions": ({"ref": "L1", "segments": ("6",)},)}
    return DeidentifiedCase(f"P{number}", site, year, age_band, sex, device_class, MappingProxyType(content))


def views(*classes: tuple[int, str]) -> list[DeidentifiedCase]:
    """So many cases of each age band."""
    bands = [band for count, band in classes for _ in range(count)]
    return [a_view(number, age_band=band) for number, band in enumerate(bands)]


cohorts = st.lists(
    st.tuples(
        st.sampled_from(SITES),
        st.sampled_from([2024, 2025]),
        st.sampled_from(["60 to 69", "70 to 79"]),
        st.sampled_from(["male", "unknown"]),
        st.just("guidewire"),
    ),
    max_size=60,
).map(lambda rows: [a_view(number, *row) for number, row in enumerate(rows)])


@given(cohorts, st.integers(2, 8))
def test_every_released_class_is_large_enough_or_nothing_is_released(
    cases: list[DeidentifiedCase], smallest: int
) -> None:
    try:
        found = judged(cases, smallest)
    except ReleaseRefused:
        sizes = Counter(case.quasi_identifiers for case in cases)
        too_small = sum(size for size in sizes.values() if size < smallest)
        assert not cases or too_small * 5 > len(cases)
        return
    kept = Counter(case.quasi_identifiers for case in compress(cases, found.kept))
    assert list(kept.elements()) == list(Counter(found.classes).elements())
    assert min(kept.values()) == found.reached >= smallest
    assert found.suppressed * 5 <= found.considered == len(cases)
    assert sum(size * classes for size, classes in found.sizes.items()) == found.released


@given(cohorts, st.integers(2, 8))
def test_no_class_is_suppressed_that_is_large_enough(cases: list[DeidentifiedCase], smallest: int) -> None:
    sizes = Counter(case.quasi_identifiers for case in cases)
    try:
        kept = judged(cases, smallest).kept
    except ReleaseRefused:
        return
    assert [sizes[case.quasi_identifiers] >= smallest for case in cases] == list(kept)


def test_one_in_five_may_be_suppressed_and_not_one_more() -> None:
    assert judged(views((16, "60 to 69"), (4, "70 to 79")), 5).suppressed == 4
    with pytest.raises(ReleaseRefused, match="4 of 19 cases have fewer than 5 with the same site, year"):
        judged(views((15, "60 to 69"), (4, "70 to 79")), 5)


@pytest.mark.parametrize(
    "differing",
    [
        {"site": "S2"},
        {"year": 2024},
        {"age_band": "90 and over"},
        {"sex": "female"},
        {"device_class": "filter"},
    ],
)
def test_each_quasi_identifier_sets_a_case_apart(differing: dict[str, object]) -> None:
    cases = [a_view(number) for number in range(9)] + [a_view(9, **differing)]  # type: ignore[arg-type]
    assert judged(cases, 5).suppressed == 1


def test_no_case_is_no_release() -> None:
    with pytest.raises(ReleaseRefused, match="no case"):
        judged([], 5)


def test_the_report_says_how_many_values_of_situation_and_segment_a_class_holds() -> None:
    mixed = [a_view(number, situation=("wire_stuck", "wire_unravelled")[number % 2]) for number in range(6)]
    alike = [a_view(number, sex="female") for number in range(6, 12)]
    sensitive = report(judged([*mixed, *alike], 5), 0)["sensitive_values"]
    assert sensitive == {
        "situation": {"fewest_values_in_a_class": 1, "classes_with_one_value": 1},
        "segments": {"fewest_values_in_a_class": 1, "classes_with_one_value": 2},
    }


def test_a_complication_without_segments_lies_where_its_lesion_lies() -> None:
    cases = [a_view(number, segments=(("2",), None)[number % 2]) for number in range(6)]
    assert judged(cases, 5).sensitive["segments"] == (2, 0)


def test_the_report_counts_what_was_suppressed_and_left_out() -> None:
    found = report(judged(views((6, "60 to 69"), (9, "70 to 79"), (2, "90 and over")), 5), 3)
    assert (found["k_wanted"], found["k_reached"], found["class_sizes"]) == (5, 6, {"6": 1, "9": 1})
    assert found["cases"] == {
        "considered": 17,
        "released": 15,
        "suppressed": 2,
        "left_out_before": {"date_too_roughly_known_for_the_period": 3},
    }
    assert found["suppressed_share"] == 0.1176


@pytest.mark.parametrize(
    ("since", "until", "years"),
    [
        ("2024-01-01", "2024-12-31", [2024]),
        ("2024-07", "2025-06", [2024, 2025]),
        ("2024", "2025", [2024, 2025]),
        ("2026-01", "2026-12", [2026]),
        ("2024-03-01", "2030-12", list(range(2024, 2031))),
        ("2024-03-01", TODAY.isoformat(), list(range(2024, TODAY.year + 1))),
    ],
)
def test_whole_months_of_a_year_or_more_are_a_period(since: str, until: str, years: list[int]) -> None:
    assert period_of(since, until, TODAY).years == years


@pytest.mark.parametrize(
    ("since", "until", "message"),
    [
        ("2024-01", "2024-11", "too narrow"),
        ("2025-03", "2024-02", "too narrow"),
        ("2026-05", "2027-12", "too narrow"),
        ("2024-01-02", "2025-12-31", "not of whole months"),
        ("2024-01-01", "2025-12-30", "not of whole months"),
        ("last year", "2025", "not a date"),
        ("2024-02-30", "2025", "there is no day 30"),
    ],
)
def test_other_periods_are_refused(since: str, until: str, message: str) -> None:
    with pytest.raises(ReleaseRefused, match=message):
        period_of(since, until, TODAY)

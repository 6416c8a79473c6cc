"""What holds for the reading of any ladder, and the positions that it refuses."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.ladder import Attempt, ladder_of
from registry.vocabulary import word_list
from tests.builders import Document, a_ladder


def test_every_ending_but_unknown_and_other_has_a_cause() -> None:
    """R10 names every code of the list."""
    without = [
        code
        for code in word_list("ending").codes
        if ladder_of(a_ladder("wire_stuck:", ending=code)).cause is None
    ]
    assert without == ["other", "unknown"]


@pytest.mark.parametrize(
    ("positions", "says"),
    [
        ([1, 1], "the position 1 stands twice; positions are 1 to 2, each once"),
        ([1, 3], "there is no position 2; positions are 1 to 2, without a gap"),
        ([0, 1], "there is no position 2"),
        ([2, 3], "there is no position 1"),
        ([1, None], r"actions\[1\].position: every action needs a whole number from 1"),
        ([1, "unknown"], r"actions\[1\].position"),
        ([True, 2], r"actions\[0\].position"),
        ([1, Decimal("1.5")], r"actions\[1\].position"),
    ],
)
def test_positions_are_1_to_n_each_once(positions: list[Any], says: str) -> None:
    actions = [{"position": position} for position in positions]
    with pytest.raises(ValueError, match=says):
        ladder_of({"situation": "wire_stuck", "actions": actions})


def test_a_position_may_be_written_as_1_0() -> None:
    assert (
        ladder_of({"situation": "wire_stuck", "actions": [{"position": Decimal("1.0")}]}).rungs[0].position
        == 1
    )


def test_minutes_are_the_exact_sum_of_those_known() -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction=unchanged, steady_traction=unchanged, steady_traction=partly"
    )
    for action, minutes in zip(ladder["actions"], [Decimal("0.1"), Decimal("0.2"), "unknown"], strict=True):
        action["minutes"] = minutes
    assert [attempt.minutes for attempt in ladder_of(ladder).attempts] == [Decimal("0.3")]


_codes = {
    name: st.none() | st.sampled_from(word_list(name).codes)
    for name in ("technique", "aim", "result", "situation", "ending", "actions_known", "ended_where")
}


_acts = st.lists(
    st.fixed_dictionaries(
        {
            "technique": _codes["technique"],
            "aim": _codes["aim"],
            "result": _codes["result"],
            "situation_after": _codes["situation"],
            "minutes": st.none() | st.just("unknown") | st.integers(0, 600),
        }
    ),
    max_size=8,
)


@st.composite
def complications(draw: st.DrawFn) -> Document:
    """Any complication built from codes, its positions right and in any array order."""
    acts = [{"position": number, **act} for number, act in enumerate(draw(_acts), start=1)]
    return {
        "situation": draw(_codes["situation"]),
        "ending": draw(_codes["ending"]),
        "actions_known": draw(_codes["actions_known"]),
        "ended": draw(st.none() | st.fixed_dictionaries({"where": _codes["ended_where"]})),
        "actions": draw(st.permutations(acts)),
    }


@given(complications())
def test_every_counted_act_is_a_try_of_exactly_one_attempt(complication: Document) -> None:
    ladder = ladder_of(complication)
    counted = [rung.position for rung in ladder.rungs if rung.aim in ("free", "retrieve", "secure")]
    assert sorted(position for attempt in ladder.attempts for position in attempt.positions) == counted
    assert [one.attempt_in_complication for one in ladder.attempts] == list(
        range(1, len(ladder.attempts) + 1)
    )
    for attempt in ladder.attempts:
        rungs = [ladder.rungs[position - 1] for position in attempt.positions]
        assert {(one.technique, one.aim, one.faced) for one in rungs} == {_key(attempt)}
        assert attempt.result == rungs[-1].result


def _key(attempt: Attempt) -> tuple[str | None, str, str | None]:
    return attempt.technique, attempt.aim, attempt.faced


@given(complications())
def test_attempts_are_numbered_within_each_situation_without_a_gap(complication: Document) -> None:
    numbers: dict[str | None, list[int]] = {}
    for attempt in ladder_of(complication).attempts:
        numbers.setdefault(attempt.faced, []).append(attempt.attempt_in_situation)
    assert all(found == list(range(1, len(found) + 1)) for found in numbers.values())


@given(
    complications(),
    st.lists(st.sampled_from([None, "unknown", 0, 1, 2, 3, -1, True, Decimal("0.5")]), max_size=4),
)
def test_nothing_but_wrong_positions_is_refused_by_the_reading(
    complication: Document, wrong: list[Any]
) -> None:
    for action, position in zip(complication["actions"], wrong, strict=False):
        action["position"] = position
    positions = [action["position"] for action in complication["actions"]]
    right = not any(isinstance(one, bool) for one in positions) and sorted(
        one for one in positions if isinstance(one, int)
    ) == list(range(1, len(positions) + 1))
    try:
        ladder_of(complication)
    except ValueError:
        assert not right
    else:
        assert right

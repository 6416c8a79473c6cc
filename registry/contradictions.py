"""What cannot be, or is to be asked about, within one complication (counting rules R3 and R8). No Django."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from registry.findings import Finding
from registry.ladder import (
    COUNTED_AIMS,
    RESULTS_OF_OTHER_ACTS,
    RESULTS_OF_RESCUE,
    Ladder,
    Rung,
    ladder_of,
)
from registry.terms import CLOSED, OTHER, UNKNOWN, Aim, Cause, Result

_LEFT_BEHIND = {"part_out_rest_left", "left_in_place", "lost_place_unknown"}
_HELD = {"part_out_rest_held", "held_behind_stent"}
_NOTHING_STAYS = {"out_whole", "out_in_pieces", "used_on", "replaced", "out_at_surgery"}


def contradictions(complication: Mapping[str, Any]) -> Iterator[Finding]:
    """Findings with paths that start at the complication; ValueError for positions, as `ladder_of`."""
    ladder = ladder_of(complication)
    places = {
        int(action["position"]): number for number, action in enumerate(complication.get("actions") or [])
    }
    for rung in ladder.rungs:
        number = places[rung.position]
        action = complication["actions"][number]
        for finding in _of_rung(rung, action):
            yield finding.under(f"actions[{number}]")
    yield from _of_ending(ladder, complication)


def _of_rung(rung: Rung, action: Mapping[str, Any]) -> Iterator[Finding]:
    yield from _of_result(rung)
    counted = rung.aim in COUNTED_AIMS
    if counted and rung.faced == CLOSED:
        yield Finding(
            "aim",
            rung.aim,
            f"position {rung.position} tries something on a complication that is closed already",
            "a look before it whose situation_after names the situation again",
        )
    elif counted and rung.result == Result.RESOLVED and rung.situation_after != CLOSED:
        yield Finding(
            "situation_after",
            action.get("situation_after"),
            f"position {rung.position} is resolved, yet its situation is not closed",
            'situation_after "closed", or the result "partly" where something remained to be done',
        )
    if rung.situation_after == CLOSED and not _may_close(rung):
        yield Finding(
            "situation_after",
            CLOSED,
            f"position {rung.position} cannot close the complication",
            "closed by an action to free, retrieve or secure that is resolved, or by a look that finds it over",
        )
    if counted and rung.faced != CLOSED:
        yield from _questions_of_rung(rung, action)


def _may_close(rung: Rung) -> bool:
    return rung.aim == Aim.LOOK or (rung.aim in COUNTED_AIMS and rung.result == Result.RESOLVED)


def _of_result(rung: Rung) -> Iterator[Finding]:
    if rung.aim in (None, UNKNOWN, OTHER):
        return
    rescue = rung.aim in COUNTED_AIMS or rung.aim == Aim.TREAT_INJURY
    allowed = RESULTS_OF_RESCUE if rescue else RESULTS_OF_OTHER_ACTS
    if rung.result not in allowed:
        yield Finding(
            "result",
            rung.result,
            f"an action with the aim {rung.aim} cannot have this result",
            ", ".join(result for result in Result if result in allowed),
        )


def _questions_of_rung(rung: Rung, action: Mapping[str, Any]) -> Iterator[Finding]:
    if rung.result == Result.UNCHANGED and rung.situation_after is not None:
        yield Finding(
            "situation_after",
            rung.situation_after,
            "unchanged, yet another situation after it: is that so?",
            refused=False,
        )
    if rung.result == Result.WORSE and rung.situation_after is None and not action.get("note"):
        yield Finding(
            "situation_after",
            None,
            "made worse, with neither a new situation nor a note: what became harder?",
            refused=False,
        )


def _of_ending(ladder: Ladder, complication: Mapping[str, Any]) -> Iterator[Finding]:
    fragments = complication.get("fragments")
    if fragments is not None:
        states = [piece.get("state") for piece in fragments]
        remain = [state for state in states if state not in (None, UNKNOWN, OTHER, "out")]
        yield from _of_pieces(str(ladder.ending), states, remain)
    resolved = [
        attempt for attempt in ladder.attempts if attempt.result == Result.RESOLVED and not attempt.reopened
    ]
    if not resolved or ladder.cause in (None, Cause.CENSORED):
        return
    last = resolved[-1]
    expected = Cause.SECURED if last.aim == Aim.SECURE else Cause.OUT
    handed_over = any(rung.aim == Aim.HAND_OVER for rung in ladder.rungs[last.positions[-1] :])
    if ladder.cause != expected and not handed_over:
        yield Finding(
            "ending",
            ladder.ending,
            f"the last resolved action had the aim {last.aim}, which this ending does not follow from: is that so?",
            refused=False,
        )


def _of_pieces(ending: str, states: list[Any], remain: list[Any]) -> Iterator[Finding]:
    question = ""
    if ending in _NOTHING_STAYS and remain:
        question = f"a fragment is {remain[0]}, yet by its ending nothing stayed in: is that so?"
    elif ending in _LEFT_BEHIND and not remain and not _open(states):
        question = "something was left by its ending, yet no fragment row says where: is that so?"
    elif ending in _HELD and "held" not in remain and not _open(states):
        question = "something is held by its ending, yet no fragment row is held: is that so?"
    elif ending in _HELD and any(state != "held" for state in remain):
        question = "a fragment is not held, and the least secured piece names the ending: is that so?"
    if question:
        yield Finding("ending", ending, question, refused=False)


def _open(states: list[Any]) -> bool:
    """Whether a fragment row leaves its state open, so that it disagrees with nothing."""
    return any(state in (None, UNKNOWN, OTHER) for state in states)

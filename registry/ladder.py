"""The heart: what the order of actions in one complication means. No Django.

`ladder_of` derives the situation faced at each rung, the attempts with their two numbers, what was declined, and the
cause by which the complication left the curve; `contradictions` says what in it cannot be or is to be asked about.
One truth for screen, statistics, slides and releases. The rules (R1 to R11) are stated in DEVELOPERS.md.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from registry.terms import CLOSED, OTHER, UNKNOWN, Aim, Cause, Result

COUNTED_AIMS = frozenset({Aim.FREE, Aim.RETRIEVE, Aim.SECURE})
"""Aims that enter a success rate (R2)."""

_PASSED_OVER = frozenset({Aim.LOOK, Aim.PREPARE, Aim.SUPPORT})
"""Aims that do not break a run of tries (R4)."""

_UNIDENTIFIED = frozenset({None, UNKNOWN, OTHER})

RESULTS_OF_RESCUE = frozenset(set(Result) - {Result.DONE})
"""What a counted aim or the treatment of an injury may end in (R3)."""

RESULTS_OF_OTHER_ACTS = frozenset(set(Result) - {Result.RESOLVED, Result.UNCHANGED})
"""What looking, preparing, supporting, leaving and handing over may end in (R3)."""

CAUSES: Mapping[str, Cause] = {
    "out_whole": Cause.OUT,
    "out_in_pieces": Cause.OUT,
    "used_on": Cause.OUT,
    "replaced": Cause.OUT,
    "part_out_rest_held": Cause.SECURED,
    "held_behind_stent": Cause.SECURED,
    "deployed_in_place": Cause.SECURED,
    "crushed_in_place": Cause.SECURED,
    "sealed_in_place": Cause.SECURED,
    "ground_away": Cause.SECURED,
    "part_out_rest_left": Cause.LEFT,
    "left_in_place": Cause.LEFT,
    "lost_place_unknown": Cause.LEFT,
    "accepted_as_is": Cause.LEFT,
    "out_at_surgery": Cause.SURGERY,
    "part_out_at_surgery": Cause.SURGERY,
    "died_before_end": Cause.DIED,
    "transferred_open": Cause.CENSORED,
}
"""The cause of each ending (R10); an ending that is unknown or other has none."""

CAME_OUT_WITH_OTHER = "came_out_with_other"


@dataclass(frozen=True, slots=True)
class Rung:
    """One action as the picture shows it.

    `situation_after` is None where it equals `faced`; the two attempt numbers are None where the aim is not counted.
    """

    position: int
    technique: str | None
    aim: str | None
    result: str
    faced: str | None
    situation_after: str | None
    attempt_in_situation: int | None = None
    attempt_in_complication: int | None = None


@dataclass(frozen=True, slots=True)
class Attempt:
    """Consecutive counted actions of one technique and aim in one situation (R4).

    `result` is that of the last try; `minutes` the sum of those known, None if none is; `positions` those of its
    counted tries; `reopened` where it closed the complication and a later rung named a situation again.
    """

    technique: str | None
    aim: str
    faced: str | None
    result: str
    tries: int
    minutes: int | Decimal | None
    attempt_in_situation: int
    attempt_in_complication: int
    positions: tuple[int, ...]
    reopened: bool = False


@dataclass(frozen=True, slots=True)
class Declined:
    """A technique considered, not tried; `faced` is `unknown` and `later_tried` None where its place is not known."""

    technique: str | None
    reason: str | None
    after_position: int | None
    faced: str | None
    later_tried: bool | None
    treats: str | None


@dataclass(frozen=True, slots=True)
class Ladder:
    """One complication, read by the rules."""

    rungs: tuple[Rung, ...]
    attempts: tuple[Attempt, ...]
    declined: tuple[Declined, ...]
    ending: str | None
    cause: Cause | None
    in_curve: bool

    def owner(self, after_position: int | None) -> int | None:
        """The rung to which harm noticed after a position belongs (R9): a look passes it on to the act before it."""
        for rung in reversed(self.rungs[: after_position or 0]):
            if rung.aim != Aim.LOOK:
                return rung.position
        return None


def positions(complication: Mapping[str, Any]) -> list[int]:
    """The positions of the actions in array order; ValueError unless they are 1 to n, each once (R8)."""
    found = [_whole(action.get("position")) for action in complication.get("actions") or []]
    for number, position in enumerate(found):
        if position is None:
            raise ValueError(f"actions[{number}].position: every action needs a whole number from 1")
    known = [position for position in found if position is not None]
    if sorted(known) == list(range(1, len(known) + 1)):
        return known
    doubled = sorted(position for position, times in Counter(known).items() if times > 1)
    if doubled:
        raise ValueError(
            f"actions: the position {doubled[0]} stands twice; positions are 1 to {len(known)}, each once"
        )
    missing = min(set(range(1, len(known) + 1)) - set(known))
    raise ValueError(
        f"actions: there is no position {missing}; positions are 1 to {len(known)}, without a gap"
    )


def _whole(value: object) -> int | None:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return None
    return int(value) if value == value // 1 else None


def ladder_of(complication: Mapping[str, Any]) -> Ladder:
    """Read one complication of a case document by the counting rules.

    Raises ValueError where the positions are not 1 to n, each once; everything else is `contradictions`' business.
    """
    order = positions(complication)
    listed = complication.get("actions") or []
    actions = [action for _, action in sorted(zip(order, listed, strict=True), key=lambda pair: pair[0])]
    rungs = _rungs(complication.get("situation"), actions)
    attempts = _attempts(rungs, actions)
    cause = _cause(complication)
    return Ladder(
        rungs=_numbered(rungs, attempts),
        attempts=attempts,
        declined=_declined(complication, rungs),
        ending=complication.get("ending"),
        cause=cause,
        in_curve=cause is not None
        and acts_are_known(complication)
        and not _came_out_with_other(rungs, attempts),
    )


def acts_are_known(complication: Mapping[str, Any]) -> bool:
    """Whether the acts of the complication are recorded, all of them and in order (R10, R11)."""
    return complication.get("actions") is not None and complication.get("actions_known") in (None, "all")


def _rungs(situation: str | None, actions: Sequence[Mapping[str, Any]]) -> list[Rung]:
    rungs = []
    for position, action in enumerate(actions, start=1):
        after = action.get("situation_after")
        after = None if after == situation else after
        rungs.append(
            Rung(
                position=position,
                technique=action.get("technique"),
                aim=action.get("aim"),
                result=action.get("result") or UNKNOWN,
                faced=situation,
                situation_after=after,
            )
        )
        situation = after or situation
    return rungs


def _runs(rungs: Sequence[Rung]) -> list[list[Rung]]:
    """The counted rungs, grouped into attempts (R4)."""
    runs: list[list[Rung]] = []
    unbroken = False
    for rung in rungs:
        if rung.aim in COUNTED_AIMS:
            same = unbroken and (rung.technique, rung.aim) == (runs[-1][-1].technique, runs[-1][-1].aim)
            if same and rung.technique not in _UNIDENTIFIED:
                runs[-1].append(rung)
            else:
                runs.append([rung])
            unbroken = True
        elif rung.aim not in _PASSED_OVER:
            unbroken = False
        if rung.situation_after is not None:
            unbroken = False
    return runs


def _attempts(rungs: Sequence[Rung], actions: Sequence[Mapping[str, Any]]) -> tuple[Attempt, ...]:
    attempts = []
    facing: Counter[str | None] = Counter()
    for number, run in enumerate(_runs(rungs), start=1):
        last = run[-1]
        facing[last.faced] += 1
        later = rungs[last.position :]
        attempts.append(
            Attempt(
                technique=last.technique,
                aim=str(last.aim),
                faced=last.faced,
                result=last.result,
                tries=len(run),
                minutes=_minutes([actions[rung.position - 1].get("minutes") for rung in run]),
                attempt_in_situation=facing[last.faced],
                attempt_in_complication=number,
                positions=tuple(rung.position for rung in run),
                reopened=last.situation_after == CLOSED and any(rung.situation_after for rung in later),
            )
        )
    return tuple(attempts)


def _minutes(values: Sequence[Any]) -> int | Decimal | None:
    known = [Decimal(str(value)) for value in values if value is not None and value != UNKNOWN]
    if not known:
        return None
    total = sum(known, Decimal(0))
    return int(total) if total == total.to_integral_value() else total


def _numbered(rungs: Sequence[Rung], attempts: Sequence[Attempt]) -> tuple[Rung, ...]:
    of = {position: attempt for attempt in attempts for position in attempt.positions}
    return tuple(
        replace(
            rung,
            attempt_in_situation=of[rung.position].attempt_in_situation,
            attempt_in_complication=of[rung.position].attempt_in_complication,
        )
        if rung.position in of
        else rung
        for rung in rungs
    )


def _declined(complication: Mapping[str, Any], rungs: Sequence[Rung]) -> tuple[Declined, ...]:
    return tuple(
        _one_declined(option, complication.get("situation"), rungs)
        for option in complication.get("declined") or []
    )


def _one_declined(option: Mapping[str, Any], situation: str | None, rungs: Sequence[Rung]) -> Declined:
    technique = option.get("technique")
    after = _whole(option.get("after_position"))
    faced: str | None = UNKNOWN
    later_tried = None
    if after is not None:
        changes = [rung.situation_after for rung in rungs[:after] if rung.situation_after]
        faced = changes[-1] if changes else situation
        later_tried = technique not in _UNIDENTIFIED and any(
            rung.technique == technique for rung in rungs[after:]
        )
    return Declined(technique, option.get("reason"), after, faced, later_tried, option.get("treats"))


def _cause(complication: Mapping[str, Any]) -> Cause | None:
    cause = CAUSES.get(str(complication.get("ending")))
    where = (complication.get("ended") or {}).get("where")
    if cause in (None, Cause.SURGERY) or where in (None, "here"):
        return cause
    return Cause.CENSORED


def _came_out_with_other(rungs: Sequence[Rung], attempts: Sequence[Attempt]) -> bool:
    """Closed last by the look that says so, with no counted attempt of its own: its act stands elsewhere (R10)."""
    changes = [rung for rung in rungs if rung.situation_after]
    return (
        not attempts
        and bool(changes)
        and changes[-1].situation_after == CLOSED
        and changes[-1].technique == CAME_OUT_WITH_OTHER
    )

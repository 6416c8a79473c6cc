"""What the ladders of one case say together, as the figures count it (rules R9 to R12). No Django.

The derived columns of the rows, and through them every count, come from here; so do the slides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from registry.ladder import Attempt, Declined, Ladder, Rung, acts_are_known, ladder_of
from registry.terms import Aim

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class CountedAttempt:
    """An attempt with what came of it beside its result (R9)."""

    attempt: Attempt
    with_injury: bool
    with_new_complication: bool


@dataclass(frozen=True, slots=True)
class CountedDecline:
    """A declined option, keyed as it is counted (R11)."""

    declined: Declined
    considered_for: str | None
    also_tried: bool


@dataclass(frozen=True, slots=True)
class CountedComplication:
    """One complication as the figures see it.

    `considered_for` has the key of each rung, by position: the situation faced, or the kind of the injury treated.
    `acts_known` says whether it enters the figures of techniques (R11), `began_here` those of devices (R12).
    """

    ladder: Ladder
    attempts: tuple[CountedAttempt, ...]
    considered_for: Mapping[int, str | None]
    declined: tuple[CountedDecline, ...]
    acts_known: bool
    in_curve: bool
    began_here: bool


def counted_complications(document: Document) -> tuple[CountedComplication, ...]:
    """Every complication of a case document that has passed the checks, in the document's order."""
    injuries = document.get("injuries") or []
    kinds = {injury["ref"]: injury.get("kind") for injury in injuries if injury.get("ref") is not None}
    full = document.get("status") in (None, "full")
    in_procedure = document["procedure"].get("kind") != "none_found_later"
    return tuple(
        _counted(complication, document, kinds, full=full, in_procedure=in_procedure)
        for complication in document["complications"]
    )


def _counted(
    complication: Document,
    document: Document,
    kinds: Mapping[str, str | None],
    *,
    full: bool,
    in_procedure: bool,
) -> CountedComplication:
    ladder = ladder_of(complication)
    ref = complication.get("ref")
    harmed = _owners(ladder, document.get("injuries") or [], ref)
    led_on = _owners(ladder, document["complications"], ref)
    actions = {int(action["position"]): action for action in complication.get("actions") or []}
    keys = {rung.position: _key(rung, actions[rung.position].get("treats"), kinds) for rung in ladder.rungs}
    known = full and acts_are_known(complication)
    return CountedComplication(
        ladder=ladder,
        attempts=tuple(
            CountedAttempt(
                attempt,
                with_injury=not harmed.isdisjoint(attempt.positions),
                with_new_complication=not led_on.isdisjoint(attempt.positions),
            )
            for attempt in ladder.attempts
        ),
        considered_for=keys,
        declined=tuple(_declined(option, ladder, keys, kinds) for option in ladder.declined),
        acts_known=known,
        in_curve=known and ladder.in_curve,
        began_here=in_procedure and (complication.get("began") or {}).get("where") in (None, "here"),
    )


def _owners(ladder: Ladder, consequences: list[Document], ref: str | None) -> set[int | None]:
    """The rungs to which harm named by `caused_by` and `after_position` belongs; None stands for nobody's."""
    if ref is None:
        return set()
    return {
        ladder.owner(one.get("after_position")) for one in consequences if one.get("caused_by") == ref
    } - {None}


def _key(rung: Rung, treats: str | None, kinds: Mapping[str, str | None]) -> str | None:
    if rung.aim == Aim.TREAT_INJURY:
        return kinds.get(treats) if treats is not None else None
    return rung.faced


def _declined(
    option: Declined, ladder: Ladder, keys: Mapping[int, str | None], kinds: Mapping[str, str | None]
) -> CountedDecline:
    key = kinds.get(option.treats) if option.treats is not None else option.faced
    tried = any(rung.technique == option.technique and keys[rung.position] == key for rung in ladder.rungs)
    return CountedDecline(option, key, tried)

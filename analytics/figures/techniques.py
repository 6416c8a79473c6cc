"""Techniques as lines of a page: words, rounded numbers and pictures; nothing is ordered by a rate. No query."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analytics import charts
from analytics.answers import Answer, TechniqueRecord
from analytics.figures.words import Number, percent_in_words
from registry.drawings.phrases import lowered, named
from registry.terms import Aim
from registry.vocabulary import word_list

_AIMS = (Aim.FREE, Aim.RETRIEVE, Aim.SECURE)

_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class TechniqueLine:
    """One technique with one aim in the situation that the page is about."""

    name: str
    aim: str
    record: TechniqueRecord
    share: Number | None
    lower: Number | None
    upper: Number | None
    picture: str
    by_attempt: tuple[str, ...]
    others: tuple[tuple[str, int], ...]
    declined: int
    cautions: tuple[str, ...]


def technique_lines(
    attempts: Answer[TechniqueRecord],
    by_attempt: Answer[TechniqueRecord],
    declined: Mapping[str | None, int],
) -> list[TechniqueLine]:
    """By aim, what gets the device out before what keeps it in, then by name."""
    lines = [
        _technique_line(
            one,
            [row for row in by_attempt.rows if (row.technique, row.aim) == (one.technique, one.aim)],
            declined.get(one.technique, 0),
        )
        for one in attempts.rows
    ]
    return sorted(lines, key=lambda line: (_AIMS.index(Aim(line.record.aim)), line.name))


def _technique_line(one: TechniqueRecord, tries: Sequence[TechniqueRecord], declined: int) -> TechniqueLine:
    estimate = one.estimate
    share = lower = upper = None
    picture = ""
    if drawn := estimate.with_limits:
        share, lower, upper = map(percent_in_words, drawn)
        picture = charts.interval(*drawn, 1.0, _QUARTERS, few=estimate.few)
    return TechniqueLine(
        name=_name(one.technique),
        aim=f"to {lowered(word_list('aim')[one.aim].label)}",
        record=one,
        share=None if estimate.few else share,
        lower=lower,
        upper=upper,
        picture=picture,
        by_attempt=tuple(map(_try, tries)),
        others=(
            ("partly", one.partly),
            ("unchanged", one.unchanged),
            ("not delivered", one.not_delivered),
            ("stopped for safety", one.stopped_for_safety),
            ("result not known", one.unknown),
            ("resolved with an injury", one.resolved_with_injury),
            ("resolved with a new complication", one.resolved_with_new_complication),
        ),
        declined=declined,
        cautions=tuple(map(str, estimate.cautions)),
    )


def _name(technique: str | None) -> str:
    return (
        named("technique", technique, "technique")[:1].upper()
        + named("technique", technique, "technique")[1:]
    )


def _try(one: TechniqueRecord) -> str:
    number = _ordinal(one.attempt_in_situation or 0)
    return f"{number} {one.resolved} of {one.attempts}" if one.attempts else f"{number} result not known"


def _ordinal(number: int) -> str:
    """
    >>> [_ordinal(n) for n in (1, 2, 3, 4, 11, 22)]
    ['1st', '2nd', '3rd', '4th', '11th', '22nd']
    """
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def never_attempted(
    attempts: Answer[TechniqueRecord], declined: Mapping[str | None, int]
) -> list[tuple[str, int]]:
    """Techniques that were declined and have no attempt, by name, with the complications in which they were."""
    tried = {one.technique for one in attempts.rows}
    return sorted(
        (_name(technique), number) for technique, number in declined.items() if technique not in tried
    )

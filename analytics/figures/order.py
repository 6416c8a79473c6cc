"""In which order techniques were tried in a situation and how it ended, as a picture with its table. No query."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from analytics.answers_techniques import WENT_ON, Step
from analytics.charts.figure import Figure
from analytics.charts.flow import Band, Box, flow
from analytics.figures.endings import ENDING_WORDS
from analytics.figures.words import ordinal, technique_in_words
from registry.drawings.phrases import counted, lowered
from registry.terms import Cause

ORDER_OF_ATTEMPTS = "order-of-attempts"
MOST_TECHNIQUES, MOST_ATTEMPTS = 8, 5
"""More than these are drawn together, which is said."""

_OTHERS = "Other techniques"
_NONE = "no attempt"
_FURTHER = f"a {ordinal(MOST_ATTEMPTS + 1)} attempt, and further"
_ENDS: Mapping[str | None, str] = {
    **{str(cause): words for cause, words in ENDING_WORDS.items()},
    str(Cause.CENSORED): "not seen to its end",
    WENT_ON: "went on in another situation",
    None: "ending not known",
}
_LAST = [_OTHERS, *_ENDS.values(), _FURTHER, _NONE]
"""What stands below the techniques of a column, in this order."""

Place = tuple[int, str]
"""A column, 0 for the situation, with what stands in it."""


def order_of_attempts(steps: Sequence[Step], met: int, situation: str) -> Figure | None:
    """The order, None where nothing was tried; `met` are all complications that met the situation."""
    if not steps:
        return None
    names = {one.technique: technique_in_words(one.technique) for one in steps}
    apart = _drawn_apart(steps, names)
    shown = {key: name if name in apart else _OTHERS for key, name in names.items()}
    counts = {**_from_situation(steps, shown, met, situation), **_counts(steps, shown)}
    places = sorted({place for link in counts for place in link}, key=_in_column)
    reached = Counter[Place]()
    for (_, stop), number in counts.items():
        reached[stop] += number
    start = (0, situation)
    boxes = [
        Box(column, label, met if (column, label) == start else reached[column, label], label in _LAST[1:])
        for column, label in places
    ]
    bands = [
        Band(places.index(begin), places.index(stop), number) for (begin, stop), number in counts.items()
    ]
    last = max(column for column, _ in places)
    size, content = flow(
        ["Faced", *(_head(column) for column in range(1, last + 1))],
        boxes,
        bands,
    )
    return Figure(
        name=ORDER_OF_ATTEMPTS,
        title=f"{situation}: what was tried after what",
        description=_description(steps, sorted(set(names.values()) - apart), met),
        size=size,
        content=content,
        columns=("attempt", "from", "to", "complications"),
        rows=tuple(
            (begin[0], begin[1], stop[1], number)
            for (begin, stop), number in sorted(
                counts.items(), key=lambda item: (_in_column(item[0][0]), _in_column(item[0][1]))
            )
        ),
        method="counted",
    )


def _drawn_apart(steps: Sequence[Step], names: dict[str | None, str]) -> set[str]:
    """The techniques with most attempts; of two with as many, the first by name."""
    made: Counter[str] = Counter()
    for one in steps:
        made[names[one.technique]] += one.complications
    if len(made) <= MOST_TECHNIQUES:
        return set(made)
    return set(sorted(made, key=lambda name: (-made[name], name))[:MOST_TECHNIQUES])


def _from_situation(
    steps: Sequence[Step], names: dict[str | None, str], met: int, situation: str
) -> dict[tuple[Place, Place], int]:
    """Complications by what was tried first in them, and those in which nothing was."""
    found: Counter[tuple[Place, Place]] = Counter()
    for one in steps:
        if one.number == 1:
            found[(0, situation), (1, names[one.technique])] += one.complications
    without = met - sum(found.values())
    return {**found, **({((0, situation), (1, _NONE)): without} if without else {})}


def _counts(steps: Sequence[Step], names: dict[str | None, str]) -> dict[tuple[Place, Place], int]:
    """Complications by where they came from and where to, from the first attempt on."""
    found: Counter[tuple[Place, Place]] = Counter()
    for one in steps:
        if one.number > MOST_ATTEMPTS:
            continue
        here = (one.number, names[one.technique])
        if one.then is None:
            then = _ENDS[one.ending]
        else:
            then = _FURTHER if one.number == MOST_ATTEMPTS else names[one.then or None]
        found[here, (one.number + 1, then)] += one.complications
    return found


def _in_column(place: Place) -> tuple[int, int, str]:
    column, label = place
    return column, _LAST.index(label) + 1 if label in _LAST else 0, label


def _head(column: int) -> str:
    if column > MOST_ATTEMPTS:
        return "Then"
    return f"{ordinal(column)} attempt" if column == 1 else f"{ordinal(column)}, or the end"


def _description(steps: Sequence[Step], together: Sequence[str], met: int) -> str:
    tried = sum(one.complications for one in steps if one.number == 1)
    longest = max(one.number for one in steps)
    said = [
        f"Of {counted(met, 'complication', 'complications')} that met the situation, an attempt to get the device out "
        f"or to secure it was made in {tried:,}; up to {counted(longest, 'attempt', 'attempts')} in one."
    ]
    if together:
        said.append(f"Drawn together as other techniques: {'; '.join(map(lowered, together))}.")
    if longest > MOST_ATTEMPTS:
        said.append(f"What followed the {ordinal(MOST_ATTEMPTS)} attempt is not drawn.")
    return " ".join(said)

"""The ladder as sentences, for those who listen and for plain text; says what the picture shows and no more."""

from __future__ import annotations

from collections.abc import Mapping

from registry.drawings.ladder_story import NO_NAMES, Act, Ended, Faced, Gap, Harm, NotTried, Step, Turn, told
from registry.drawings.phrases import Document, raised

_STARTS = {
    Turn.BEGINS: "The situation",
    Turn.CHANGES: "The situation is now",
    Turn.WORSENS: "The situation is now, and worse",
    Turn.CLOSES: "The situation is now",
}


def ladder_in_words(
    complication: Document, document: Document, *, names: Mapping[str, str] = NO_NAMES
) -> list[str]:
    """The story of one complication, a sentence or two for each step, in the order of the picture.

    `names` are those of device models by code. Raises ValueError where positions are not 1 to n, each once.
    """
    return [sentence(step) for step in told(complication, document, names)]


def sentence(step: Step) -> str:
    """One step in words."""
    match step:
        case Faced(title, asides, turn):
            return f"{_STARTS[turn]}: {_and_asides(title, asides)}."
        case Act():
            return _act(step)
        case NotTried(technique, reason):
            return f"Not tried: {technique}, {reason}."
        case Harm(injury, place):
            return f"Injury, {place}: {injury}."
        case Gap(text):
            return text
        case Ended(title, asides):
            return f"{_and_asides(title, asides)}."


def _and_asides(title: str, asides: tuple[str, ...]) -> str:
    return "; ".join((title, *asides))


def _act(act: Act) -> str:
    when = f", {act.minute}" if act.minute else ""
    harm = "".join(f" Injury: {injury}." for injury in act.injuries)
    return f"Rung {act.position}{when}: {raised(act.technique)}, {'; '.join(act.details)}.{harm}"

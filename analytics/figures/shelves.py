"""Tools that were wanted and could not be had, as a list in words. No query."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from analytics.answers_shelves import HowOften, ShoppingList, Wanted, Wish, device_classes_of
from analytics.figures.endings import ENDING_WORDS
from analytics.figures.sites import share_and_limits
from registry.drawings.phrases import counted, joined, lowered, named, raised
from registry.terms import Cause
from registry.vocabulary import word_list

MOST_OPEN = 60
"""Cases in all up to which they stand open below their techniques; of more, one technique is opened at a time."""

MOST_NAMED = 8
"""Situations, or techniques that followed, which a technique names."""

_ENDED = {**ENDING_WORDS, Cause.CENSORED: "not seen to its end"}


@dataclass(frozen=True, slots=True)
class WishLine:
    """One case behind a tool: its code, and what happened in words."""

    case: str
    when: str
    words: str


@dataclass(frozen=True, slots=True)
class WantedLine:
    """One technique of the list in words, with its newest cases; `more` are in the CSV alone."""

    name: str
    devices: str
    record: Wanted
    reasons: str
    sites: str
    situations: str
    instead: str
    out: str
    cases: tuple[WishLine, ...]
    more: int


def stand_open(lines: Sequence[WantedLine]) -> bool:
    """Whether the cases stand open on the page."""
    return sum(len(line.cases) for line in lines) <= MOST_OPEN


def wanted_lines(answer: ShoppingList) -> list[WantedLine]:
    """In the order of the answer; the sites are said where the list is of several."""
    sites = len({site for one in answer.rows for site in one.sites})
    return [_line(one, sites) for one in answer.rows]


def _line(one: Wanted, sites: int) -> WantedLine:
    return WantedLine(
        name=raised(named("technique", one.technique, "technique")),
        devices=joined(
            [
                lowered(named("device_class", code, "device class"))
                for code in device_classes_of(one.technique)
            ]
        ),
        record=one,
        reasons=_reasons(one),
        sites=_by_site(one.sites) if sites > 1 else "",
        situations="; ".join(_how_often(one.faced, _faced)),
        instead=_instead(one),
        out=share_and_limits(one.estimate) if one.ended else "no ending known",
        cases=tuple(map(_case, one.newest)),
        more=one.options - len(one.newest),
    )


def _reasons(one: Wanted) -> str:
    absent = one.complications - one.without_size
    said = [f"not on the shelf in {absent:,}"] if absent else []
    if one.without_size:
        said.append(f"not in a size that fits in {one.without_size:,}")
    return joined(said)


def _by_site(numbers: HowOften) -> str:
    """`North in 3; South in 1`, by name; names may hold commas."""
    return "; ".join(f"{site} in {number:,}" for site, number in sorted(numbers.items(), key=str))


def _how_often(numbers: HowOften, named_so: Callable[[str | None], str]) -> list[str]:
    """`wire stuck in 3`, those of most complications first; of many the rest as a number."""
    said = sorted((-number, named_so(name)) for name, number in numbers.items())
    listed = [f"{name} in {-number:,}" for number, name in said[:MOST_NAMED]]
    rest = len(said) - MOST_NAMED
    return [*listed, f"{rest} others, in the CSV"] if rest > 0 else listed


def _instead(one: Wanted) -> str:
    said = _how_often(one.instead, _technique)
    if one.nothing:
        said.append(f"nothing more in {one.nothing:,}")
    if one.order_unknown:
        said.append(f"order not recorded in {one.order_unknown:,}")
    return "; ".join(said)


def _technique(code: str | None) -> str:
    return lowered(named("technique", code, "technique"))


def _faced(code: str | None) -> str:
    """The situation, or the injury that the option was to treat (R11)."""
    name = "situation" if code is None or code in word_list("situation") else "injury_kind"
    return lowered(named(name, code, "situation"))


def _case(wish: Wish) -> WishLine:
    reason = "not on the shelf" if wish.reason == "not_on_shelf" else "not in a size that fits"
    if wish.instead is None:
        then = "what followed is not recorded in order"
    else:
        then = (
            "then " + joined([_technique(code) for code in wish.instead]) if wish.instead else "nothing more"
        )
    if wish.tried_later:
        then += "; tried later after all"
    ended = "ending not known" if wish.cause is None else _ENDED[Cause(wish.cause)]
    when = f"{wish.month:%B %Y}" if wish.month else "month not known"
    return WishLine(wish.case, f"{when}, {wish.site}", f"{_faced(wish.faced)}, {reason}; {then}; {ended}")


def said_of_the_list(answer: ShoppingList) -> str:
    """How much stands behind the list, as the beginning of a sentence."""
    if not answer.complications:
        return ""
    return (
        f"{counted(answer.complications, 'complication', 'complications')} in "
        f"{counted(answer.cases, 'case', 'cases')}"
    )


WISH_COLUMNS = (
    *("technique", "device_classes", "reason", "situation_faced", "site", "month", "case"),
    *("instead", "tried_later", "cause"),
)

NOT_RECORDED = "not_recorded"
"""Stands for a technique that is not recorded, among the codes of others."""


def wish_rows(wishes: Iterable[Wish]) -> Iterator[tuple[str | None, ...]]:
    """Each option of the list as a row of its CSV."""
    for wish in wishes:
        yield (
            wish.technique,
            " ".join(device_classes_of(wish.technique)),
            wish.reason,
            wish.faced,
            wish.site,
            f"{wish.month:%Y-%m}" if wish.month else None,
            wish.case,
            None if wish.instead is None else " ".join(code or NOT_RECORDED for code in wish.instead),
            None if wish.tried_later is None else "yes" if wish.tried_later else "no",
            wish.cause,
        )

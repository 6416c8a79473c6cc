"""Techniques as lines of a page: words, rounded numbers and pictures; nothing is ordered by a rate. No query."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analytics import charts
from analytics.answers import Extent, TechniqueRecord
from analytics.answers_techniques import (
    STRATA,
    AttemptOfAim,
    Considered,
    SituationFigures,
    TechniqueInSituation,
    Try,
    in_strata,
)
from analytics.estimates import Estimate
from analytics.figures.words import Number, ordinal, percent_in_words, technique_in_words
from registry.cautions import caution
from registry.drawings.phrases import counted, lowered
from registry.terms import Aim
from registry.vocabulary import word_list

_AIMS = (Aim.FREE, Aim.RETRIEVE, Aim.SECURE)
_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class TechniqueLine:
    """One technique with one aim in the situation that the page is about.

    `others` are the results beside resolved and worse, `beside` what is said under them: limits made otherwise, cases,
    minutes, options, cautions.
    """

    name: str
    aim: str
    record: TechniqueRecord
    share: Number | None
    lower: Number | None
    upper: Number | None
    picture: str
    by_attempt: tuple[str, ...]
    others: tuple[tuple[str, int], ...]
    beside: tuple[str, ...]
    declined: int
    cautions: tuple[str, ...]


def technique_lines(
    techniques: Sequence[TechniqueInSituation], considered: Sequence[Considered]
) -> list[TechniqueLine]:
    """By aim, what gets the device out before what keeps it in, then by name."""
    options = {one.technique: one for one in considered}
    return [_technique_line(one, options.get(one.record.technique)) for one in in_lines(techniques)]


def in_lines(techniques: Sequence[TechniqueInSituation]) -> list[TechniqueInSituation]:
    """The techniques in the order in which pages and files list them."""
    return sorted(
        techniques,
        key=lambda one: (_AIMS.index(Aim(one.record.aim)), technique_in_words(one.record.technique)),
    )


def _technique_line(one: TechniqueInSituation, option: Considered | None) -> TechniqueLine:
    estimate = one.estimate
    share = lower = upper = None
    picture = ""
    if drawn := estimate.with_limits:
        share, lower, upper = map(percent_in_words, drawn)
        picture = charts.interval(*drawn, 1.0, _QUARTERS, few=estimate.few)
    record = one.record
    return TechniqueLine(
        name=technique_in_words(record.technique),
        aim=aim_in_words(record.aim),
        record=record,
        share=None if estimate.few else share,
        lower=lower,
        upper=upper,
        picture=picture,
        by_attempt=tuple(map(_try, one.tries)),
        others=(
            ("partly", record.partly),
            ("unchanged", record.unchanged),
            ("not delivered", record.not_delivered),
            ("stopped for safety", record.stopped_for_safety),
            ("result not known", record.unknown),
            ("resolved with an injury", record.resolved_with_injury),
        ),
        beside=(*_limits_made_otherwise(one), *_minutes(one), *_options(record, option)),
        declined=option.declined if option else 0,
        cautions=tuple(map(str, estimate.cautions)),
    )


def aim_in_words(aim: str) -> str:
    """The aim after the name of a technique."""
    return f"to {lowered(word_list('aim')[aim].label)}"


def _try(one: Try) -> str:
    number = ordinal(one.number)
    return (
        f"{number}: {one.resolved:,} of {one.attempts:,}" if one.attempts else f"{number}: result not known"
    )


def share_in_words(estimate: Estimate) -> str:
    """The share with its limits where there are enough, else that there are too few; empty without any."""
    if not estimate.total or (drawn := estimate.with_limits) is None:
        return ""
    if estimate.few:
        return "too few for a percentage"
    share, lower, upper = map(percent_in_words, drawn)
    return f"{share} ({lower} to {upper})" if estimate.count else f"none resolved (up to {upper})"


def _limits_made_otherwise(one: TechniqueInSituation) -> list[str]:
    """The plain and the exact limits, and by how much the adjusted are wider; nothing where there is no attempt."""
    plain_limits, exact = (one.record.lower, one.record.upper), one.adjusted.exact
    if not one.record.attempts:
        return []
    said = [
        f"Limits as if each attempt were a case of its own: {_range(*plain_limits)} (Wilson), "
        f"{_range(*exact)} (exact, Clopper and Pearson)"
    ]
    if one.adjusted.design_effect is not None:
        cases = counted(one.adjusted.clusters, "case", "cases")
        said.insert(0, f"{cases}; design effect {one.adjusted.design_effect:.2f}")
    elif one.adjusted.clusters == 1:
        said.insert(0, "all attempts are of one case, so there is no design effect to be told")
    return said


def _range(lower: float | None, upper: float | None) -> str:
    if lower is None or upper is None:
        return "none"
    return f"{lower:.3f} to {upper:.3f}"


def _minutes(one: TechniqueInSituation) -> list[str]:
    return [minutes_in_words(one)] if one.record.attempts else []


def minutes_in_words(one: TechniqueInSituation) -> str:
    """The median of the minutes, what it is of, and how many have none."""
    found = one.minutes
    if found.median is None:
        return f"no minutes recorded in {counted(found.missing, 'attempt', 'attempts')}"
    without = f"; no minutes in {found.missing:,}" if found.missing else ""
    return f"median {found.median:g} min of {counted(found.known, 'attempt', 'attempts')}{without}"


def _options(record: TechniqueRecord, option: Considered | None) -> list[str]:
    """Success among those tried, and among all where it was considered, where it was declined somewhere."""
    if option is None or not option.declined:
        return []
    return [
        caution(
            "declined",
            declined=option.declined,
            considered=option.considered,
            resolved=record.complications_resolved,
            attempted=record.complications,
        )
    ]


def totals_in_words(found: SituationFigures, extent: Extent) -> str:
    """What the rows are out of: they don't add up to it, as one complication may stand in several."""
    tried = sum(one.complications for one in found.order if one.number == 1)
    met = counted(extent.complications, "complication", "complications")
    if extent.complications == 1:
        return f"{met} met this situation; it may stand in several rows, so that the rows don't add up."
    return (
        f"In all {met} met this situation, of which {found.began:,} began with it; an attempt to get the device out or "
        f"to secure it was made in {tried:,}. One complication may stand in several rows, so that the rows don't add "
        "up to it."
    )


@dataclass(frozen=True, slots=True)
class MixLine:
    """A technique beside the order in which it was tried: crude, by attempt, and at the common mix."""

    name: str
    technique: str | None
    tried_first: str
    crude: str
    strata: tuple[str, ...]
    at_the_mix: str


@dataclass(frozen=True, slots=True)
class MixOfAim:
    """The lines of one aim under all its attempts: `every` is of the strata, `mix` their weights in words.

    `successes` say how many of those who made each attempt it resolved, with limits where there are enough.
    """

    aim: str
    every: tuple[str, ...]
    mix: str
    successes: tuple[str, ...]
    lines: tuple[MixLine, ...]


def mixes(techniques: Sequence[TechniqueInSituation], by_attempt: Sequence[AttemptOfAim]) -> list[MixOfAim]:
    """A group for each aim; the techniques by name."""
    found: dict[str, list[TechniqueInSituation]] = {}
    for one in in_lines(techniques):
        found.setdefault(one.record.aim, []).append(one)
    return [
        _mix_of(aim, listed, [one for one in by_attempt if one.aim == aim]) for aim, listed in found.items()
    ]


def _mix_of(aim: str, listed: Sequence[TechniqueInSituation], by_attempt: Sequence[AttemptOfAim]) -> MixOfAim:
    weights = [
        sum(stratum[1] for stratum in column)
        for column in zip(*(in_strata(one.tries) for one in listed), strict=True)
    ]
    won = [
        sum(stratum[0] for stratum in column)
        for column in zip(*(in_strata(one.tries) for one in listed), strict=True)
    ]
    return MixOfAim(
        aim=aim_in_words(aim),
        every=tuple(_of(*pair) for pair in zip(won, weights, strict=True)),
        mix=", ".join(f"{number:,} {name}" for number, name in zip(weights, STRATA, strict=True)),
        successes=tuple(map(_success, by_attempt)),
        lines=tuple(_mix_line(one) for one in listed),
    )


def _success(one: AttemptOfAim) -> str:
    """`1st: 21 of 38, 55% (40% to 70%)`."""
    share = share_in_words(one.estimate)
    said = f", {share}" if share and not one.estimate.few else ""
    return f"{ordinal(one.number)}: {one.resolved:,} of {one.attempts:,}{said}"


def _of(resolved: int, attempts: int) -> str:
    return f"{resolved:,} of {attempts:,}" if attempts else "never tried"


def _mix_line(one: TechniqueInSituation) -> MixLine:
    attempts = one.record.attempts
    return MixLine(
        name=technique_in_words(one.record.technique),
        technique=one.record.technique,
        tried_first=f"tried first in {one.tried_first:,} of {counted(attempts, 'attempt', 'attempts')}"
        if attempts
        else "no known result",
        crude=_crude(one),
        strata=tuple(_of(*pair) for pair in in_strata(one.tries)),
        at_the_mix=standardised_in_words(one),
    )


def _crude(one: TechniqueInSituation) -> str:
    if not one.record.attempts:
        return ""
    said = f"{one.record.resolved:,} of {one.record.attempts:,}"
    return said if one.estimate.few else f"{said}, {share_in_words(one.estimate)}"


def standardised_in_words(one: TechniqueInSituation) -> str:
    """The share at the common mix with its limits, or why there is none."""
    found = one.standardised
    if not one.record.attempts:
        return "no known result"
    if found.share is None or found.lower is None or found.upper is None:
        return f"cannot be standardised: never tried {' or '.join(found.missing)}"
    if one.estimate.few:
        return "too few for a percentage"
    share, lower, upper = map(percent_in_words, (found.share, found.lower, found.upper))
    return f"{share} ({lower} to {upper})"


@dataclass(frozen=True, slots=True)
class OptionLine:
    """One technique that was considered: tried, declined and why, and what came of it, by aim."""

    name: str
    record: Considered
    reasons: tuple[str, ...]
    where_tried: tuple[str, ...]
    where_considered: tuple[str, ...]


def option_lines(
    considered: Sequence[Considered], techniques: Sequence[TechniqueInSituation]
) -> list[OptionLine]:
    """What was tried to get the device out or to secure it, and whatever was declined, by name."""
    by_technique: dict[str | None, list[TechniqueRecord]] = {}
    for one in in_lines(techniques):
        by_technique.setdefault(one.record.technique, []).append(one.record)
    lines = [
        _option_line(option, by_technique.get(option.technique, []))
        for option in considered
        if option.declined or option.technique in by_technique
    ]
    return sorted(lines, key=lambda line: line.name)


def _option_line(option: Considered, records: Sequence[TechniqueRecord]) -> OptionLine:
    reasons = {reason_in_words(code): number for code, number in option.reasons}
    return OptionLine(
        name=technique_in_words(option.technique),
        record=option,
        reasons=tuple(f"{words} in {reasons[words]:,}" for words in sorted(reasons)),
        where_tried=tuple(
            f"{one.complications_resolved:,} of {one.complications:,} {aim_in_words(one.aim)}"
            for one in records
        ),
        where_considered=tuple(
            f"{one.complications_resolved:,} of {option.considered:,} {aim_in_words(one.aim)}"
            for one in records
        ),
    )


def reason_in_words(code: str) -> str:
    """Why something was declined, within a sentence."""
    words: Mapping[str, str] = {
        "": "reason not recorded",
        "unknown": "reason not known",
        "other": "other reason",
    }
    return words.get(code) or lowered(word_list("decline_reason")[code].label)

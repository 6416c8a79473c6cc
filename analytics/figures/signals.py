"""Signals as sentences, lines and pictures. No query; nothing is ordered by a rate, and nothing is called a cause.

Of other sites' cases there is the site, the month, the device and the lot: `open_sites` are those whose cases are open.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from analytics.answers_months import DeviceEvent
from analytics.answers_signals import Chart, Crossed, Said, Signal, SignalRule, Signals
from analytics.figures.months import known_day, on_or_in
from analytics.figures.words import Number, day_in_words
from registry.drawings.phrases import counted, lowered, named, raised
from registry.terms import SignalState

STATE_WORDS = {
    SignalState.NEW: "New",
    SignalState.BEING_REVIEWED: "Being reviewed",
    SignalState.EXPLAINED: "Explained",
    SignalState.ACTED_ON: "Acted on",
}
MARKS = {
    SignalState.NEW: "due",
    SignalState.BEING_REVIEWED: "reviewing",
    SignalState.EXPLAINED: "none",
    SignalState.ACTED_ON: "complete",
}
RULE_WORDS = {
    SignalRule.MODEL_SUM: "Running sums of a model",
    SignalRule.CLASS_SUM: "Running sums of a class",
    SignalRule.SINGLE_MONTH: "Single months of a model",
    SignalRule.CLOSE_TOGETHER: "Three events close together, of rare ones",
    SignalRule.LAST_MONTHS: "Last twelve months, too few events for a baseline",
    SignalRule.ONE_LOT: "Lots with two first events",
}
_NUMBERS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class CaseLine:
    """One case behind a signal; `case`, situation and ending are empty where it is another site's."""

    day: str
    site: str
    case: str
    situation: str
    ending: str
    model: str
    lot: str


@dataclass(frozen=True, slots=True)
class Step:
    """One entry of the history: a crossing, or what somebody said."""

    day: str
    mark: str
    state: str
    words: str


@dataclass(frozen=True, slots=True)
class SignalLine:
    """One signal as the list shows it."""

    rule: SignalRule
    subject: str
    title: str
    mark: str
    state: str
    last: str
    day: str
    sentence: str


def number_word(number: int) -> str:
    """
    >>> number_word(5), number_word(11)
    ('five', '11')
    """
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)


def signal_title(chart: Chart) -> str:
    """What the signal is called: what was reported, and no more."""
    what = {
        SignalRule.MODEL_SUM: "reported more often than its baseline",
        SignalRule.CLASS_SUM: "reported more often than the baseline of the class",
        SignalRule.SINGLE_MONTH: "more reported in one month than its limit",
        SignalRule.CLOSE_TOGETHER: "three reported close together",
        SignalRule.LAST_MONTHS: "reported more often in the last months than before",
    }
    if chart.rule == SignalRule.ONE_LOT:
        return f"{chart.name}, lot {chart.lot}: {number_word(chart.behind)} first events"
    return f"{chart.name}: {what[chart.rule]}"


def day_or_month(event: DeviceEvent, open_sites: Collection[str]) -> str:
    """The day of an open case, as far as it is known, and the month of any other."""
    return known_day(event, exactly=event.site in open_sites)


def when_of(event: DeviceEvent, open_sites: Collection[str]) -> str:
    """`on 11 February 2026`, `in February 2026`."""
    return on_or_in(day_or_month(event, open_sites))


def recent_in_words(chart: Chart) -> str:
    """The last twelve months beside the baseline with both p-values, empty where they are not compared."""
    one = chart.recent
    if one is None:
        return ""
    base = "before them" if chart.baseline is None else "in the baseline"
    return (
        f"The last twelve recorded months: {one.events:,} in {one.uses:,} uses against {one.base_events:,} in "
        f"{one.base_uses:,} {base}, exact p {p_in_words(one.p)}, adjusted for all models compared "
        f"{p_in_words(one.adjusted)}."
    )


def p_in_words(p: float) -> Number:
    """
    >>> [str(p_in_words(p)) for p in (0.00004, 0.0071, 0.06, 0.43)]
    ['under 0.001', '0.007', '0.06', '0.43']
    """
    if p < 0.001:
        return Number("under 0.001", p)
    return Number(f"{p:.3f}" if p < 0.01 else f"{p:.2f}", p)


def signal_lines(signals: Sequence[Signal], open_sites: Collection[str]) -> list[SignalLine]:
    """Signals as the list shows them, in the order given."""
    return [_line(one, open_sites) for one in signals]


def _line(one: Signal, open_sites: Collection[str]) -> SignalLine:
    chart = one.chart
    last = chart.last
    sentence = (
        f"Crossed {when_of(last, open_sites)}; {counted(chart.behind, 'case', 'cases')} behind it. "
        f"{recent_in_words(chart)} Reported, cause not established."
        if last
        else "It does not cross any more, since the record was changed."
    )
    return SignalLine(
        rule=chart.rule,
        subject=chart.subject,
        title=signal_title(chart),
        mark=MARKS[one.state],
        state=STATE_WORDS[one.state],
        last=last_word(one),
        day=raised(day_or_month(last, open_sites)) if last else "",
        sentence=sentence.replace("  ", " "),
    )


def last_word(one: Signal) -> str:
    """By whom, when, and what was said last; of a signal that is new again, what was said before."""
    if not one.said:
        return "Nobody has said anything of it yet."
    word = one.said[-1]
    words = f": “{word.words}”" if word.words else ""
    said = f"by {word.by}, {day_in_words(word.at.date())}{words}"
    if one.state == SignalState.NEW:
        return f"Crossed again since the last word ({lowered(STATE_WORDS[word.state])} {said})."
    return f"{raised(said)}{'' if words.endswith('.”') else '.'}"


def history(crossings: Sequence[Crossed], said: Sequence[Said], open_sites: Collection[str]) -> list[Step]:
    """Crossings and words in the order of their days, a crossing before what was said of it."""
    steps: list[tuple[datetime.date, int, Step]] = []
    for crossed in crossings:
        what = f"Crossed its limit; {counted(len(crossed.behind), 'case', 'cases')} behind it."
        day = day_or_month(crossed.event, open_sites)
        steps.append((crossed.day, 0, Step(day, MARKS[SignalState.NEW], "New", what)))
    for word in said:
        state = f"{STATE_WORDS[word.state]}, by {word.by}"
        when = word.at.date()
        steps.append(
            (max(when, word.crossed), 1, Step(day_in_words(when), MARKS[word.state], state, word.words))
        )
    return [step for _, _, step in sorted(steps, key=lambda step: step[:2])]


def case_lines(
    crossed: Crossed, open_sites: Collection[str], sites: Mapping[str, str], names: Mapping[str, str]
) -> list[CaseLine]:
    """The cases behind a crossing; `sites` and `names` of models by code."""
    return [_case(one, open_sites, sites, names) for one in crossed.behind]


def _case(
    one: DeviceEvent, open_sites: Collection[str], sites: Mapping[str, str], names: Mapping[str, str]
) -> CaseLine:
    is_open = one.site in open_sites
    model = one.device_model or ""
    return CaseLine(
        day=day_or_month(one, open_sites),
        site=sites.get(one.site, one.site),
        case=one.case if is_open else "",
        situation=named("situation", one.situation, "situation") if is_open else "",
        ending=lowered(named("ending", one.ending, "ending")) if is_open else "",
        model=names.get(model, model),
        lot=one.lot or "",
    )


def _single_months(found: Signals) -> str:
    return ", a single month about once in 1,000 months" if found.number_of(SignalRule.SINGLE_MONTH) else ""


def more_signals(earlier: Sequence[Signal]) -> str:
    """What is said of signals that the list does not show; nothing where there is none."""
    if not earlier:
        return ""
    new = sum(one.state == SignalState.NEW for one in earlier) or "none"
    return (
        f"{counted(len(earlier), 'earlier signal is', 'earlier signals are')} not shown, {new} of them new."
    )


def watched_in_words(found: Signals) -> list[str]:
    """How many charts are watched, how many false alarms they are expected to give, how many came."""
    period = found.period
    if period is None:
        return ["No chart is watched yet: that takes more than twelve months of recorded uses of a model."]
    kinds = [
        f"{lowered(words)} ({found.number_of(rule)})"
        for rule, words in RULE_WORDS.items()
        if rule != SignalRule.ONE_LOT and found.number_of(rule)
    ]
    expected = "fewer than 0.1" if found.expected < 0.05 else f"{found.expected:.1f}"
    first = (
        f"{len(found.watched)} charts are watched over all sites, {period[0]:%B %Y} to {period[1]:%B %Y}: "
        f"{'; '.join(kinds)}. Each has a limit that chance alone crosses about once in 25 years or more seldom"
        f"{_single_months(found)}. So {expected} false alarms were to be expected of all of them "
        f"together though nothing had changed anywhere; {number_word(found.came)} came"
    )
    chance = f"; so many or more come about {_in_ten(found.chance)} by chance alone" if found.came else ""
    lots = found.number_of(SignalRule.ONE_LOT)
    said = [
        f"{first}{chance}.",
        "The number to be expected is added up chart by chart, from the uses that were watched and with each baseline "
        "taken for the truth. A baseline needs five events, and chance helps some models to them; so that number is "
        "rather too high than too low.",
    ]
    if lots:
        said.append(
            f"{raised(counted(lots, 'lot has', 'lots have'))} two first events or more; how many of a lot were "
            "opened is not recorded, so nobody can say how often chance alone brings two together."
        )
    if found.unwatched:
        said.append(
            f"{raised(counted(found.unwatched, 'model is', 'models are'))} not watched: there are not more than twelve "
            "months of its uses yet."
        )
    return said


def _in_ten(chance: float) -> str:
    if chance < 0.01:
        return "less than once in 100 times"
    if chance < 0.095:
        return counted(round(100 * chance), "time", "times") + " in 100"
    if chance > 0.95:
        return "nearly always"
    return counted(round(10 * chance), "time", "times") + " in 10"

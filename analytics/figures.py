"""Answers as lines of a page: words, rounded numbers and pictures. No query; nothing is ordered by a rate."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import median

from analytics import charts
from analytics.answers import (
    Answer,
    Denominators,
    DeviceRate,
    Extent,
    LeftOut,
    SituationRecord,
    TechniqueRecord,
)
from registry.drawings.phrases import counted, joined, lowered, named
from registry.terms import CLOSED, Aim
from registry.vocabulary import word_list

_AIMS = (Aim.FREE, Aim.RETRIEVE, Aim.SECURE)
_QUARTERS = 4

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Guidewires", ("guidewire",)),
    ("Stents and scaffolds", ("stent", "scaffold")),
    ("Balloons", ("balloon",)),
    ("Atherectomy", ("burr", "crown", "laser_catheter", "cutter")),
    ("Microcatheters", ("microcatheter",)),
    ("Guides, catheters and sheaths", ("guide_catheter", "guide_extension", "diagnostic_catheter", "sheath")),
    ("Imaging catheters", ("imaging_catheter",)),
    ("Retrieval tools", ("snare", "basket", "forceps")),
    ("Filters and thrombus removal", ("filter", "occlusion_balloon", "aspiration", "thrombectomy")),
    ("Coils, pacing, support and closure", ("coil", "pacing_wire", "support_pump", "closure_device")),
    ("Other devices", ()),
)
"""Headings of the devices page with their families; the last takes all that no other names."""

_SITUATION_GROUPS = {
    "wire": "Guidewires",
    "stent": "Stents",
    "balloon": "Balloons",
    "atherectomy": "Atherectomy",
    "catheter": "Catheters",
    "retrieval": "Retrieval tools and filters",
    "other_device": "Other devices",
}


@dataclass(frozen=True, slots=True)
class Number:
    """A figure as it is printed, and as it is."""

    text: str
    exact: float

    def __str__(self) -> str:
        return self.text


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


@dataclass(frozen=True, slots=True)
class DeviceLine:
    """One model, or the events of a class whose model is not recorded."""

    name: str
    code: str
    kind: str
    record: DeviceRate
    uses: str
    rate: Number | None
    lower: Number | None
    upper: Number | None
    picture: str
    instead: str


@dataclass(frozen=True, slots=True)
class DeviceGroup:
    """The lines of one kind of device."""

    title: str
    lines: tuple[DeviceLine, ...]


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
        share, lower, upper = map(_percent, drawn)
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


def situations_by_group(
    found: Iterable[SituationRecord],
) -> list[tuple[str, list[tuple[SituationRecord, str]]]]:
    """Situations with their labels under the kind of device, in the order of the word list."""
    records = {one.situation: one for one in found}
    words = word_list("situation")
    groups: dict[str, list[tuple[SituationRecord, str]]] = {}
    for code, term in words.terms.items():
        if code in records:
            title = _SITUATION_GROUPS.get(term.properties.get("group", ""), "Not in the list, or not known")
            groups.setdefault(title, []).append((records[code], label_of_situation(code)))
    return list(groups.items())


def situations_offered(
    groups: Iterable[tuple[str, list[tuple[SituationRecord, str]]]], chosen: str | None
) -> list[tuple[str, str]]:
    """Code and words of each situation that has records, and of the one chosen; of all where nothing is known."""
    found = [
        (one.situation, f"{label} ({one.complications})") for _, listed in groups for one, label in listed
    ]
    if chosen and chosen not in dict(found):
        found.append((chosen, f"{label_of_situation(chosen)} (0)"))
    codes = [code for code in word_list("situation").codes if code != CLOSED]
    return found or [(code, label_of_situation(code)) for code in codes]


def label_of_situation(code: str) -> str:
    """The situation in words, as a heading."""
    words = named("situation", code, "situation")
    return words[:1].upper() + words[1:]


def device_groups(
    rates: Answer[DeviceRate], names: Mapping[str, str]
) -> tuple[list[DeviceGroup], tuple[float, int]]:
    """By kind, class and name, those without a model last; and the axis common to all."""
    axis = charts.axis_for(_axis_holds(rates.rows))
    classes = word_list("device_class")
    family = {code: term.properties.get("family") for code, term in classes.terms.items()}
    title = {one: heading for heading, families in GROUPS for one in families}
    lines: dict[str, list[DeviceLine]] = {heading: [] for heading, _ in GROUPS}
    order = list(classes.codes)
    for one in sorted(
        rates.rows,
        key=lambda one: (
            order.index(one.device_class),
            one.device_model is None,
            names.get(one.device_model or "", one.device_model or ""),
        ),
    ):
        heading = title.get(family[one.device_class] or "", GROUPS[-1][0])
        lines[heading].append(_device_line(one, names, axis))
    return [DeviceGroup(heading, tuple(found)) for heading, found in lines.items() if found], axis


def _axis_holds(rows: Sequence[DeviceRate]) -> float:
    """Every solid dot, and half of all upper limits: a model opened a few times would else press the rest together."""
    found = [(one, drawn) for one in (row.estimate for row in rows) if (drawn := one.with_limits)]
    solid = [rate for one, (rate, _, _) in found if not one.few]
    limits = [upper for _, (_, _, upper) in found]
    return max([*solid, median(limits)]) if limits else 1.0


def _device_line(one: DeviceRate, names: Mapping[str, str], axis: tuple[float, int]) -> DeviceLine:
    model = one.device_model or ""
    estimate = one.estimate
    rate = lower = upper = None
    picture, instead = "", ""
    if drawn := estimate.with_limits:
        rate, lower, upper = map(_rate, drawn)
        picture = (
            charts.interval(*drawn, *axis, few=estimate.few)
            if one.events
            else charts.upper_limit(drawn[-1], *axis)
        )
    else:
        instead = " ".join(map(str, estimate.cautions))
    return DeviceLine(
        name=names.get(model, model) or "Model not recorded",
        code=model if model in names else "",
        kind=lowered(named("device_class", one.device_class, "device class")),
        record=one,
        uses=f"{one.uses:,}",
        rate=rate,
        lower=lower,
        upper=upper,
        picture=picture,
        instead=instead,
    )


def _percent(share: float) -> Number:
    """A whole percentage; 0 and 100 are kept for none and all."""
    rounded = f"{share * 100:.0f}"
    if rounded == "0" and share > 0:
        return Number("under 1%", share)
    if rounded == "100" and share < 1:
        return Number("over 99%", share)
    return Number(f"{rounded}%", share)


def _rate(rate: float) -> Number:
    """Two decimals below 1, else one; what would round to 0.00 keeps its first digit."""
    if rate == 0:
        return Number("0", rate)
    if rate < 0.005:
        return Number(f"{Decimal(f'{rate:.1g}'):f}", rate)
    return Number(f"{rate:.2f}" if round(rate, 2) < 1 else f"{rate:.1f}", rate)


def left_out_in_words(left_out: Iterable[LeftOut]) -> str:
    """One sentence, empty where nothing was left out."""
    whole = [str(one).replace(" left out: ", " (", 1) + ")" for one in left_out]
    return f"Left out: {joined(whole)}." if whole else ""


def period_in_words(extent: Extent) -> str:
    """From which month to which the procedures were, empty where there are none."""
    if extent.first is None or extent.last is None:
        return ""
    first, last = f"{extent.first:%B %Y}", f"{extent.last:%B %Y}"
    return first if first == last else f"{first} to {last}"


def missing_in_words(found: Denominators, names: Mapping[str, str]) -> list[str]:
    """The site-months without recorded uses, a line for each site, runs of months as one."""
    by_site: dict[str, list[datetime.date]] = {}
    for site, month in found.missing:
        by_site.setdefault(site, []).append(month)
    return [f"{names.get(site, site)}: {_runs(months)}" for site, months in by_site.items()]


def _runs(months: Sequence[datetime.date]) -> str:
    runs: list[list[datetime.date]] = []
    for month in months:
        if runs and (month - runs[-1][-1]).days <= 31:
            runs[-1].append(month)
        else:
            runs.append([month])
    return joined([f"{run[0]:%B %Y}" + (f" to {run[-1]:%B %Y}" if len(run) > 1 else "") for run in runs])


def resting_on(extent: Extent, sites: Sequence[str]) -> str:
    """How much the figures rest on, as the beginning of a sentence; `sites` are the names of those asked about."""
    there = counted(extent.complications, "complication", "complications")
    return ", ".join(
        part
        for part in (
            f"{there} in {counted(extent.cases, 'case', 'cases')}" if extent.cases else "No complication",
            sites[0] if len(sites) == 1 else counted(extent.sites, "site", "sites"),
            _operators(extent),
            period_in_words(extent),
        )
        if part
    )


def _operators(extent: Extent) -> str:
    if extent.cases and not extent.operators:
        return "no operator named"
    return counted(extent.operators, "operator", "operators") if extent.operators else ""

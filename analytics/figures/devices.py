"""Rates of devices as lines of a page, by kind, class and name; nothing is ordered by a rate. No query."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from analytics import charts
from analytics.answers import Answer, DeviceRate
from analytics.figures.words import Number, rate_in_words
from registry.drawings.phrases import lowered, named
from registry.vocabulary import word_list

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
        rate, lower, upper = map(rate_in_words, drawn)
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

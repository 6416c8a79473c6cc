"""Rates of devices as lines of a page, by kind, class and name; nothing is ordered by a rate. No query."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from statistics import median
from typing import NamedTuple

from django.utils.text import slugify

from analytics import charts
from analytics.answers import DeviceRate
from analytics.answers_devices import Drawn, GroupRate, Kinds
from analytics.charts.figure import Cell, Figure
from analytics.charts.rates import RateRow, rates_figure
from analytics.estimates import Estimate
from analytics.figures.words import interval_in_words, printed_rate
from registry.drawings.phrases import counted, lowered, named, raised
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


DEVICE_RATES = "device-rates"
MOST_IN_A_PICTURE = 200
"""Rows up to which the page draws them all as one picture; of more, the picture is a file of its own."""

_BY_NAME = "By the maker's name"
_FIGURES = ("uses", "events", "secondary_events", "events_left_out", "rate_per_1000", "lower", "upper")
_COLUMNS = ("Uses", "First events", "Secondary", "Left out", "Per 1,000", "Lower limit", "Upper limit")
_DRAWN_COLUMNS = ("Drawn in", "Drawn in, lower limit", "Drawn in, upper limit")
_KINDS_COLUMN = "First events by kind"


class DeviceLine(NamedTuple):
    """One model, the events of a class whose model is not recorded, or all models of a class or of a maker.

    `kinds` are its first events by situation, in words; `drawn` is its rate drawn towards the others of the page;
    `lots` is how many of its lots were seen twice. Where there is no rate, `instead` says why.
    """

    name: str
    code: str
    kind: str
    kinds: tuple[str, ...]
    record: DeviceRate | GroupRate
    estimate: Estimate
    drawn: str
    lots: int
    instead: str


@dataclass(frozen=True, slots=True)
class DeviceGroup:
    """The lines of one kind of device, or of all makers."""

    title: str
    lines: tuple[DeviceLine, ...]

    @property
    def anchor(self) -> str:
        """Its place in the page."""
        return f"kind-{slugify(self.title)}"


@dataclass(frozen=True, slots=True)
class DeviceTable:
    """The lines of the page and the axis that they share."""

    groups: tuple[DeviceGroup, ...]
    axis: tuple[float, int]

    @property
    def length(self) -> int:
        """How many lines there are."""
        return sum(len(group.lines) for group in self.groups)

    @property
    def is_long(self) -> bool:
        """Whether there are too many lines for one picture, and for a page without a list of its parts."""
        return self.length > MOST_IN_A_PICTURE


class _Named(NamedTuple):
    """What a line says beside its figures."""

    name: str
    code: str = ""
    kind: str = ""
    kinds: tuple[str, ...] = ()
    drawn: tuple[float, float, float] | None = None
    lots: int = 0


def models_table(
    rows: Sequence[DeviceRate],
    names: Mapping[str, str],
    kinds: Kinds,
    drawn: Drawn,
    lots: Mapping[str, int],
) -> DeviceTable:
    """A line a model by kind, class and name, those without a model last; `lots` seen twice by the model's code."""
    order = _places("device_class")
    listed = sorted(
        rows,
        key=lambda one: (
            order[one.device_class],
            one.device_model is None,
            names.get(one.device_model or "") or one.device_model or "",
        ),
    )
    said = [
        _Named(
            name=names.get(one.device_model or "") or one.device_model or "Model not recorded",
            code=one.device_model or "" if names.get(one.device_model or "") else "",
            kind=_class_in_words(one.device_class),
            kinds=_kinds(kinds.get((one.device_model, one.device_class), {})),
            # Where all models share one rate it is said once, beneath the table.
            drawn=drawn.by_model.get(one.device_model or "") if drawn.shape else None,
            lots=lots.get(one.device_model or "", 0),
        )
        for one in listed
    ]
    return _table([_heading(one.device_class) for one in listed], listed, said)


def classes_table(rows: Sequence[GroupRate], kinds: Kinds) -> DeviceTable:
    """A line a class, by kind of device."""
    order = _places("device_class")
    listed = sorted(rows, key=lambda one: order[one.group or ""])
    of_class: dict[str, dict[str, int]] = {}
    for (_, device_class), found in kinds.items():
        into = of_class.setdefault(device_class, {})
        for situation, number in found.items():
            into[situation] = into.get(situation, 0) + number
    said = [
        _Named(
            name=raised(named("device_class", one.group, "device class")),
            kind=_models(one),
            kinds=_kinds(of_class.get(one.group or "", {})),
        )
        for one in listed
    ]
    return _table([_heading(one.group or "") for one in listed], listed, said)


def makers_table(rows: Sequence[GroupRate]) -> DeviceTable:
    """A line a maker, by name; events whose maker is not known last."""
    listed = sorted(rows, key=lambda one: (one.group is None, one.group or ""))
    said = [_Named(name=one.group or "Maker not recorded", kind=_models(one)) for one in listed]
    return _table([_BY_NAME] * len(listed), listed, said)


def _table(
    titles: Sequence[str], rows: Sequence[DeviceRate] | Sequence[GroupRate], said: Sequence[_Named]
) -> DeviceTable:
    estimates = [row.estimate for row in rows]
    lines = map(_line, rows, estimates, said)
    return DeviceTable(_in_groups(titles, lines), charts.axis_for(_axis_holds(estimates)))


@cache
def _places(list_name: str) -> dict[str, int]:
    """The place of each code in its list."""
    return {code: place for place, code in enumerate(word_list(list_name).codes)}


@cache
def _class_in_words(device_class: str) -> str:
    return lowered(named("device_class", device_class, "device class"))


def _kinds(found: Mapping[str, int]) -> tuple[str, ...]:
    """First events by the situation that they began with, in words, in the order of the list."""
    in_order = sorted(found, key=_places("situation").__getitem__)
    return tuple(f"{named('situation', code, 'situation')}: {found[code]:,}" for code in in_order)


def drawn_in_words(drawn: Drawn) -> str:
    """How the rates of the page were drawn together, or why they were not."""
    models = counted(drawn.groups, "model", "models")
    if drawn.prior is None:
        return f"No rate is drawn towards others ({drawn.method})."
    common = f"Drawn towards the {models} of this page that {'has' if drawn.groups == 1 else 'have'} a rate"
    if drawn.shape is None:
        ((_, lower, upper), *_) = drawn.by_model.values()
        each = interval_in_words(drawn.prior, lower, upper)
        return f"{common}, each is {each} per 1,000: {drawn.method}."
    return (
        f"{common}: beneath each raw rate, the nearer to their common {printed_rate(drawn.prior)} per 1,000 the "
        f"fewer uses stand behind it ({drawn.method}, shape {drawn.shape:.2g}). These limits take the prior as known, "
        "so with few models they are too narrow. Rows are in order of neither rate."
    )


def device_rates(table: DeviceTable, drawn: Drawn | None) -> Figure | None:
    """All lines of the page as one picture with its table, None without a line; `drawn` where they are models."""
    lines = [line for group in table.groups for line in group.lines]
    if not lines:
        return None
    rows: list[RateRow] = []
    for group in table.groups:
        rows += [RateRow(group.title), *(_rate_row(line, drawn) for line in group.lines)]
    rated = sum(line.estimate.with_limits is not None for line in lines)
    description = (
        f"{rated:,} of {counted(len(lines), 'row has', 'rows have')} a rate. Each is a dot with its exact 95 % limits "
        f"on an axis from 0 to {table.axis[0]:g} per 1,000 uses; hollow on a broken line below 5 first events, an "
        "upright stroke at the upper limit where none was seen, an arrow where the line runs beyond the axis. The "
        "order is that of classes and names."
    )
    columns = ("Row", "Class or models", *_COLUMNS, *(_DRAWN_COLUMNS if drawn else ()), _KINDS_COLUMN)
    title = "First events per 1,000 uses, with exact 95 % limits"
    return rates_figure((DEVICE_RATES, title, description), columns, rows, table.axis)


def _rate_row(line: DeviceLine, drawn: Drawn | None) -> RateRow:
    record = line.record
    cells: list[Cell] = [f"{line.name}, {line.code}" if line.code else line.name, line.kind]
    cells += [getattr(record, name) for name in _FIGURES]
    if drawn:
        model = record.device_model if isinstance(record, DeviceRate) else None
        cells += drawn.by_model.get(model or "", (None, None, None))
    cells.append("; ".join(line.kinds) or None)
    drawn_at = line.estimate.with_limits
    if not drawn_at:
        said = lowered(line.instead).rstrip(".")
    elif record.events:
        said = interval_in_words(*drawn_at)
    else:
        said = f"none seen (up to {printed_rate(drawn_at[-1])})"
    return RateRow(
        name=line.name,
        said=said,
        record=tuple(cells),
        drawn=drawn_at,
        none_seen=not record.events,
        few=line.estimate.few,
    )


def _models(one: GroupRate) -> str:
    return f"{counted(one.models, 'model', 'models')} with a rate"


@cache
def _heading(device_class: str) -> str:
    family = word_list("device_class").terms[device_class].properties.get("family") or ""
    return next((heading for heading, families in GROUPS if family in families), GROUPS[-1][0])


def _in_groups(titles: Sequence[str], lines: Iterable[DeviceLine]) -> tuple[DeviceGroup, ...]:
    """Lines under their headings, in the order of `GROUPS`."""
    found: dict[str, list[DeviceLine]] = {heading: [] for heading, _ in GROUPS}
    for title, line in zip(titles, lines, strict=True):
        found.setdefault(title, []).append(line)
    return tuple(DeviceGroup(title, tuple(listed)) for title, listed in found.items() if listed)


def _axis_holds(estimates: Sequence[Estimate]) -> float:
    """Every solid dot, and half of all upper limits: a model opened a few times would else press the rest together."""
    found = [(one, drawn) for one in estimates if (drawn := one.with_limits)]
    solid = [rate for one, (rate, _, _) in found if not one.few]
    limits = [upper for _, (_, _, upper) in found]
    return max([*solid, median(limits)]) if limits else 1.0


def _line(one: DeviceRate | GroupRate, estimate: Estimate, said: _Named) -> DeviceLine:
    return DeviceLine(
        name=said.name,
        code=said.code,
        kind=said.kind,
        kinds=said.kinds,
        record=one,
        estimate=estimate,
        drawn=interval_in_words(*said.drawn) if said.drawn else "",
        lots=said.lots,
        instead="" if estimate.with_limits else " ".join(map(str, estimate.cautions)),
    )

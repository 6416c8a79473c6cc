"""The rows of the devices table: escaped strings, joined; a template takes many times as long for 2,000 of them.

Whatever is a text in a line (names, codes, words) goes through `escape` here, once; all else is made of numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from django import template
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from analytics import charts
from analytics.answers import DeviceRate
from analytics.answers_devices import GroupRate
from analytics.figures.devices import DeviceGroup, DeviceLine, DeviceTable
from analytics.figures.words import printed_rate
from analytics.views.model_address import ModelCode
from registry.drawings.phrases import counted
from registry.templatetags.pictures import mark

register = template.Library()

Address = Callable[[str], str]
Axis = tuple[float, int]


@register.simple_tag
def device_rows(table: DeviceTable) -> SafeString:
    """A body for each group of the table, its heading before its rows."""
    address = _addresses()
    return mark_safe("".join(_group(group, table.axis, address) for group in table.groups))


def _addresses() -> Address:
    """The address of each model's own page, at a small part of the price of `reverse`."""
    place = "0"
    before, _, after = reverse("device", args=[place]).rpartition(place)
    to_url = ModelCode().to_url
    # As `reverse` does, which quotes once more what the converter gives.
    return lambda code: f"{before}{to_url(code).replace('%', '%25')}{after}"


def _group(group: DeviceGroup, axis: Axis, address: Address) -> str:
    heading = f'<th role="rowheader" scope="rowgroup" colspan="6">{escape(group.title)}</th>'
    rows = "".join(_row(line, axis, address) for line in group.lines)
    return (
        f'<tbody role="rowgroup">\n<tr role="row" class="group" id="{escape(group.anchor)}">{heading}</tr>\n'
        f"{rows}</tbody>\n"
    )


def _row(line: DeviceLine, axis: Axis, address: Address) -> str:
    secondary = line.record.secondary_events
    nothing, said = ("", f"{secondary:,d}") if secondary else (" nothing-more", "none")
    return (
        f'<tr role="row" {_key(line.record)}>'
        f'<th role="rowheader" scope="row" class="subject">{_subject(line, address)}</th>'
        f'<td role="cell" class="number more uses" data-label="Uses">{_uses(line.record)}</td>'
        f'<td role="cell" class="number more" data-label="First events">{_events(line)}</td>'
        f"{_rate(line, axis)}"
        f'<td role="cell" class="number more{nothing}" data-label="Secondary">'
        f'<data value="{secondary:d}">{said}</data></td></tr>\n'
    )


def _key(record: DeviceRate | GroupRate) -> str:
    if isinstance(record, GroupRate):
        return f'data-group="{escape(record.group or "")}"'
    return f'data-model="{escape(record.device_model or "")}" data-class="{escape(record.device_class)}"'


def _subject(line: DeviceLine, address: Address) -> str:
    """The name, which leads to the model's own page, with its class and code, kinds of complication and lots."""
    name = shown = escape(line.name)
    if isinstance(line.record, DeviceRate) and line.record.device_model:
        shown = f'<a href="{escape(address(line.record.device_model))}">{name}</a>'
    code = f', <span class="model-code">{escape(line.code)}</span>' if line.code else ""
    said = f'<span class="name">{shown}</span> <span class="soft">{escape(line.kind)}{code}</span>'
    if line.kinds:
        listed = "".join(f'<li class="small soft">{escape(kind)}</li>' for kind in line.kinds)
        hidden = f'<span class="visually-hidden"> of complication: {name}</span>'
        summary = f"<summary>{counted(len(line.kinds), 'kind', 'kinds')}{hidden}</summary>"
        said += f" <details>{summary} <ul>{listed}</ul></details>"
    if line.lots:
        lots = f"{mark('twice')} {counted(line.lots, 'lot', 'lots')} seen twice"
        said += f' <a class="small twice" href="#lots">{lots}</a>'
    return said


def _uses(record: DeviceRate | GroupRate) -> str:
    if not record.uses:
        return '<span class="soft">not recorded</span>'
    return f'<data value="{record.uses:d}">{record.uses:,d}</data>'


def _events(line: DeviceLine) -> str:
    """First events; "none" where nothing was counted that could have had one."""
    record = line.record
    said = f"{record.events:,d}" if line.estimate.with_limits or record.events or record.uses else "none"
    events = f'<data value="{record.events:d}" class="strong">{said}</data>'
    if not record.events_left_out:
        return events
    left_out = f'<data value="{record.events_left_out:d}">{record.events_left_out:,d}</data> left out'
    return f'{events} <span class="small soft left-out">{left_out}</span>'


def _rate(line: DeviceLine, axis: Axis) -> str:
    """Picture and figures of the rate, or in place of both the words that say why there is none."""
    drawn = line.estimate.with_limits
    if not drawn:
        return f'<td role="cell" colspan="2" class="soft instead">{escape(line.instead)}</td>'
    rate, lower, upper = drawn
    if line.record.events:
        picture = charts.interval(*drawn, *axis, few=line.estimate.few)
        limits = f"({_number(lower)} to {_number(upper)})"
        figures = f'{_number(rate, strong=True)} <span class="soft">{limits}</span>'
    else:
        picture = charts.upper_limit(upper, *axis)
        figures = f'<span class="strong">none seen</span> <span class="soft">(up to {_number(upper)})</span>'
    if line.drawn:
        figures += f' <span class="small soft drawn-in">drawn in {escape(line.drawn)}</span>'
    return f'<td role="cell" class="interval-cell">{picture}</td><td role="cell" class="share">{figures}</td>'


def _number(rate: float, *, strong: bool = False) -> str:
    class_ = ' class="strong"' if strong else ""
    return f'<data value="{rate:.6f}"{class_}>{printed_rate(rate)}</data>'

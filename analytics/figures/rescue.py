"""Devices as tools of rescue as lines of a page, by class and name of the model; no rate of failure. No query."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analytics import charts
from analytics.answers_devices import RescueRecord
from analytics.figures.words import Number, percent_in_words
from registry.drawings.phrases import lowered, named, raised
from registry.terms import Aim
from registry.vocabulary import word_list

_AIMS = (Aim.FREE, Aim.RETRIEVE, Aim.SECURE)
_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class RescueLine:
    """One situation and aim in which the model was used; no share below 10 attempts."""

    situation: str
    aim: str
    record: RescueRecord
    share: Number | None
    lower: Number | None
    upper: Number | None
    picture: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RescueTool:
    """One model with its lines."""

    name: str
    code: str
    kind: str
    lines: tuple[RescueLine, ...]


def rescue_tools(rows: Sequence[RescueRecord], names: Mapping[str, str]) -> list[RescueTool]:
    """By class and name, devices without a model last in theirs; within a model by aim, then situation."""
    classes, situations = list(word_list("device_class").codes), list(word_list("situation").codes)
    found: dict[tuple[str | None, str], list[RescueRecord]] = {}
    for row in rows:
        found.setdefault((row.device_model, row.device_class), []).append(row)

    def place(key: tuple[str | None, str]) -> tuple[int, bool, str]:
        return classes.index(key[1]), key[0] is None, names.get(key[0] or "") or key[0] or ""

    def within(row: RescueRecord) -> tuple[int, int]:
        faced = row.situation_faced
        return _AIMS.index(Aim(row.aim)), situations.index(faced) if faced in situations else len(situations)

    return [
        RescueTool(
            name=names.get(model or "") or model or "Model not recorded",
            code=model or "" if names.get(model or "") else "",
            kind=lowered(named("device_class", device_class, "device class")),
            lines=tuple(map(_line, sorted(found[model, device_class], key=within))),
        )
        for model, device_class in sorted(found, key=place)
    ]


def _line(one: RescueRecord) -> RescueLine:
    estimate = one.estimate
    share = lower = upper = None
    picture = ""
    if drawn := estimate.with_limits:
        share, lower, upper = map(percent_in_words, drawn)
        picture = charts.interval(*drawn, 1.0, _QUARTERS, few=estimate.few)
    return RescueLine(
        situation=raised(named("situation", one.situation_faced, "situation")),
        aim=f"to {lowered(word_list('aim')[one.aim].label)}",
        record=one,
        share=None if estimate.few else share,
        lower=lower,
        upper=upper,
        picture=picture,
        cautions=tuple(map(str, estimate.cautions)),
    )

"""Devices as tools of rescue as lines of a page, by class and name of the model; no rate of failure. No query."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analytics import charts
from analytics.answers_devices import RescueRecord
from analytics.figures.techniques import aim_in_words
from analytics.figures.words import Number, percent_in_words
from registry.drawings.phrases import lowered, named, raised
from registry.terms import UNKNOWN, Aim
from registry.vocabulary import word_list

_AIMS = (Aim.FREE, Aim.RETRIEVE, Aim.SECURE)
_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class RescueLine:
    """One model with one aim, and in words the situations faced; no share below 10 attempts."""

    name: str
    code: str
    kind: str
    aim: str
    record: RescueRecord
    share: Number | None
    lower: Number | None
    upper: Number | None
    picture: str
    situations: tuple[tuple[str, str], ...]


def rescue_lines(
    rows: Sequence[RescueRecord], by_situation: Sequence[RescueRecord], names: Mapping[str, str]
) -> list[RescueLine]:
    """By class and name, devices without a model last in theirs; within a model by aim."""
    classes = list(word_list("device_class").codes)
    faced: dict[tuple[str | None, str, str], list[RescueRecord]] = {}
    for row in by_situation:
        faced.setdefault(_key(row), []).append(row)

    def place(row: RescueRecord) -> tuple[int, bool, str, int]:
        model = row.device_model or ""
        where = classes.index(row.device_class), not model, names.get(model) or model
        return (*where, _AIMS.index(Aim(row.aim)))

    return [_line(row, faced.get(_key(row), []), names) for row in sorted(rows, key=place)]


def _key(row: RescueRecord) -> tuple[str | None, str, str]:
    return row.device_model, row.device_class, row.aim


def _line(one: RescueRecord, faced: Sequence[RescueRecord], names: Mapping[str, str]) -> RescueLine:
    model, estimate = one.device_model or "", one.estimate
    share = lower = upper = None
    picture = ""
    if drawn := estimate.with_limits:
        share, lower, upper = map(percent_in_words, drawn)
        picture = charts.interval(*drawn, 1.0, _QUARTERS, few=estimate.few)
    order = list(word_list("situation").codes)
    listed = sorted(faced, key=lambda row: order.index(row.situation_faced or UNKNOWN))
    return RescueLine(
        name=names.get(model) or model or "Model not recorded",
        code=model if names.get(model) else "",
        kind=lowered(named("device_class", one.device_class, "device class")),
        aim=aim_in_words(one.aim),
        record=one,
        share=None if estimate.few else share,
        lower=lower,
        upper=upper,
        picture=picture,
        situations=tuple(map(_faced, listed)),
    )


def _faced(row: RescueRecord) -> tuple[str, str]:
    """One situation, and its attempts."""
    known = f"{row.resolved:,} of {row.attempts:,}" if row.attempts else "result not known"
    return raised(named("situation", row.situation_faced, "situation")), known

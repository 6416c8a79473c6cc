"""What the pages of devices read beside rates by model: groups, drawn rates, tools of rescue, lots. No query."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from analytics.answers import DeviceRate, OfAttempts, PerUses


@dataclass(frozen=True, slots=True)
class GroupRate(PerUses):
    """Events of the models of one class, or of one maker, per 1,000 units opened; `models` are those with a rate.

    `group` is a code of the list of device classes or a maker's name, None where the catalogue names no maker.
    """

    group: str | None
    models: int
    events: int
    secondary_events: int
    uses: int
    events_left_out: int
    rate_per_1000: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True, slots=True)
class Drawn:
    """Rates per 1,000 drawn towards what `groups` models have in common: by model, each with its limits.

    `prior` is the common rate, None without one; `shape` that of the gamma prior, None where there is none or where
    all models have the same rate. `method` says what was done, and why where it is a fall-back.
    """

    by_model: Mapping[str, tuple[float, float, float]]
    groups: int
    prior: float | None
    shape: float | None
    method: str


Kinds = Mapping[tuple[str | None, str], Mapping[str, int]]
"""First events by the situation that they began with, of each model and class."""


@dataclass(frozen=True, slots=True)
class DevicePage:
    """Rates by model with their kinds, those left out of rates included, and the rates drawn together."""

    rates: tuple[DeviceRate, ...]
    kinds: Kinds
    drawn: Drawn


@dataclass(frozen=True, slots=True)
class RescueRecord(OfAttempts):
    """Attempts in which a device model was used with one aim, and those that resolved the situation faced.

    `situation_faced` is None where all situations are together. Attempts of unknown result stand in `unknown` alone;
    the limits are Wilson's of resolved in attempts.
    """

    device_model: str | None
    device_class: str
    aim: str
    situation_faced: str | None
    attempts: int
    resolved: int
    unknown: int
    complications: int
    cases: int
    lower: float | None
    upper: float | None


@dataclass(frozen=True, slots=True)
class LotEvent:
    """A first event in a lot: its site and month; day and `case` only where the case is open to who asks."""

    site: str
    month: datetime.date | None
    year: int
    day: str = ""
    case: str = ""


@dataclass(frozen=True, slots=True)
class LotAside:
    """A lot that a site has set aside; of another site there is neither reason nor shelf nor name, and no `code`."""

    site: str
    device_model: str
    name: str
    lot: str
    at: datetime.datetime
    code: str = ""
    by: str = ""
    reason: str = ""
    shelves: str = ""
    ended_at: datetime.datetime | None = None
    ended_by: str = ""


@dataclass(frozen=True, slots=True)
class LotSeen:
    """A lot of one model with two or more first events; `events` and `cases` over all sites."""

    device_model: str
    name: str
    device_class: str
    lot: str
    events: int
    cases: int
    sites: int
    set_aside: bool
    seen: tuple[LotEvent, ...] = ()
    aside: tuple[LotAside, ...] = ()

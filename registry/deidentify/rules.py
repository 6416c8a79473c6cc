"""The vocabulary of the de-identification policy: what can be done with a field before it leaves. No Django."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Treatment(StrEnum):
    """What happens to a field."""

    KEEP = "keep"
    COARSEN = "coarsen"
    SHIFT = "shift"
    DROP = "drop"


class Form(StrEnum):
    """What a coarsened value becomes."""

    YEAR = "calendar year"
    AGE_BAND = "ten years, 90 and over as one"
    TIME_BAND = "band of minutes before or after"
    DURATION_BAND = "band of minutes"
    MONTH_BAND = "band of months"
    WEIGHT_BAND = "ten kilograms, the ends as one"
    TWO_DIGITS = "cut down to two digits"
    NUMBERED = "numbered anew in each case"
    PSEUDONYM = "pseudonym drawn for each release"


@dataclass(frozen=True, slots=True)
class Rule:
    """What happens to one field, and why where that is not obvious."""

    treatment: Treatment
    form: Form | None = None
    reason: str = ""

    def __str__(self) -> str:
        words = f"{self.treatment}: {self.form}" if self.form else str(self.treatment)
        return f"{words} ({self.reason})" if self.reason else words


Group = Mapping[str, Rule]
"""Rules by the names of fields that stand together."""


def keep(names: str, reason: str = "") -> Group:
    """Fields that leave as they are recorded."""
    return dict.fromkeys(names.split(), Rule(Treatment.KEEP, reason=reason))


def coarsen(form: Form, names: str, reason: str = "") -> Group:
    """Fields that leave in a coarser form."""
    return dict.fromkeys(names.split(), Rule(Treatment.COARSEN, form, reason))


def shift(names: str, reason: str = "") -> Group:
    """Dates that leave as days from the procedure."""
    return dict.fromkeys(names.split(), Rule(Treatment.SHIFT, reason=reason))


def drop(names: str, reason: str) -> Group:
    """Fields that never leave."""
    return dict.fromkeys(names.split(), Rule(Treatment.DROP, reason=reason))


def laid_out(groups: Mapping[str, tuple[Group, ...]], joint: str) -> dict[str, Rule]:
    """The rules of all groups by full name; ValueError where a field is classified twice."""
    rules: dict[str, Rule] = {}
    for holder, parts in groups.items():
        for name, rule in ((name, rule) for part in parts for name, rule in part.items()):
            full = f"{holder}{joint}{name}" if holder else name
            if full in rules:
                raise ValueError(f"{full} is classified twice")
            rules[full] = rule
    return rules

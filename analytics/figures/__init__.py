"""Answers as lines of a page: words, rounded numbers and pictures. No query; nothing is ordered by a rate."""

from __future__ import annotations

from analytics.figures.devices import GROUPS, DeviceGroup, DeviceLine, device_groups
from analytics.figures.endings import ENDINGS_BY_ATTEMPT, endings_by_attempt
from analytics.figures.situations import (
    label_of_situation,
    situations_by_group,
    situations_offered,
    title_of,
)
from analytics.figures.techniques import TechniqueLine, never_attempted, technique_lines
from analytics.figures.words import (
    Number,
    left_out_in_words,
    missing_in_words,
    percent_in_words,
    period_in_words,
    rate_in_words,
    resting_on,
)

__all__ = [
    "ENDINGS_BY_ATTEMPT",
    "GROUPS",
    "DeviceGroup",
    "DeviceLine",
    "Number",
    "TechniqueLine",
    "device_groups",
    "endings_by_attempt",
    "label_of_situation",
    "left_out_in_words",
    "missing_in_words",
    "never_attempted",
    "percent_in_words",
    "period_in_words",
    "rate_in_words",
    "resting_on",
    "situations_by_group",
    "situations_offered",
    "technique_lines",
    "title_of",
]

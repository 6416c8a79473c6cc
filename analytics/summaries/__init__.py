"""Named questions: a cohort and its statistics make an answer. No query of its own."""

from __future__ import annotations

from analytics.summaries.devices import denominators, devices, extent_of_devices, procedure_rate
from analytics.summaries.endings import curve, endings
from analytics.summaries.techniques import (
    Tried,
    considered,
    extent,
    left_out_of_techniques,
    situations,
    techniques,
    tried,
)

__all__ = [
    "Tried",
    "considered",
    "curve",
    "denominators",
    "devices",
    "endings",
    "extent",
    "extent_of_devices",
    "left_out_of_techniques",
    "procedure_rate",
    "situations",
    "techniques",
    "tried",
]

"""Named questions: a cohort and its statistics make an answer. No query of its own."""

from __future__ import annotations

from analytics.summaries.devices import denominators, devices, extent_of_devices, procedure_rate
from analytics.summaries.endings import curve, endings
from analytics.summaries.months import (
    baseline_of_records,
    class_baseline,
    months_by_model,
    months_of,
    procedure_months,
    watch_of,
    whole_and_asked,
)
from analytics.summaries.places import lesion_contexts, places
from analytics.summaries.shelves import shopping_list
from analytics.summaries.sites import oneself, operators, sites
from analytics.summaries.situation import order, situation
from analytics.summaries.techniques import (
    considered,
    extent,
    left_out_of_techniques,
    situations,
    techniques,
)

__all__ = [
    "baseline_of_records",
    "class_baseline",
    "considered",
    "curve",
    "denominators",
    "devices",
    "endings",
    "extent",
    "extent_of_devices",
    "left_out_of_techniques",
    "lesion_contexts",
    "months_by_model",
    "months_of",
    "oneself",
    "operators",
    "order",
    "places",
    "procedure_months",
    "procedure_rate",
    "shopping_list",
    "sites",
    "situation",
    "situations",
    "techniques",
    "watch_of",
    "whole_and_asked",
]

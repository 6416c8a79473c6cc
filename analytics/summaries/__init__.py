"""Named questions: a cohort and its statistics make an answer. No query of its own."""

from __future__ import annotations

from analytics.summaries.denominators import denominators, whole_returns
from analytics.summaries.devices import (
    by_class,
    by_maker,
    device_page,
    devices,
    extent_of_devices,
    months_in_error,
    procedure_rate,
)
from analytics.summaries.endings import curve, endings
from analytics.summaries.lots import (
    asides,
    lots_in_brief,
    with_events,
)
from analytics.summaries.months import (
    class_baseline,
    months_by_model,
    months_of,
    months_of_use,
    procedure_months,
    watch_of,
    whole_and_asked,
)
from analytics.summaries.over_time import over_time, over_time_of_procedures
from analytics.summaries.places import lesion_contexts, places
from analytics.summaries.rescue import (
    rescue_tools,
)
from analytics.summaries.shelves import shopping_list, wishes
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
    "asides",
    "by_class",
    "by_maker",
    "class_baseline",
    "considered",
    "curve",
    "denominators",
    "device_page",
    "devices",
    "endings",
    "extent",
    "extent_of_devices",
    "left_out_of_techniques",
    "lesion_contexts",
    "lots_in_brief",
    "months_by_model",
    "months_in_error",
    "months_of",
    "months_of_use",
    "oneself",
    "operators",
    "order",
    "over_time",
    "over_time_of_procedures",
    "places",
    "procedure_months",
    "procedure_rate",
    "rescue_tools",
    "shopping_list",
    "sites",
    "situation",
    "situations",
    "techniques",
    "watch_of",
    "whole_and_asked",
    "whole_returns",
    "wishes",
    "with_events",
]

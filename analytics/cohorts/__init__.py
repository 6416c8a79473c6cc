"""The only place that queries: whose cases and which days in, small tables of counts out.

Nothing is counted without a `Scope`, which has no default. The database counts, on the derived columns; no statistics
here. The rules (R2 to R13) are stated in DEVELOPERS.md. Imports run downwards: counting < attempts, endings, devices,
options, order < left_out, months.
"""

from __future__ import annotations

from analytics.cohorts.annotations import annotations_of, ever_annotated
from analytics.cohorts.attempts import considered, extent, situations, techniques
from analytics.cohorts.counting import Row, Table, at_one_moment, by_value
from analytics.cohorts.devices import (
    DeviceCounts,
    ModelNamed,
    ProcedureCounts,
    catalogue_of,
    devices,
    extent_of_devices,
    months_in_error,
    months_reported_whole,
    months_with_uses,
    procedures,
)
from analytics.cohorts.endings import curve, endings
from analytics.cohorts.left_out import (
    Reasons,
    outside_curve,
    without_acts,
    without_cause,
)
from analytics.cohorts.lots import (
    events_of_lots,
    lot_with_code,
    lots_aside_at,
    lots_aside_of,
    lots_released,
    lots_seen_twice,
    lots_set_aside,
    lots_that_stand_out,
    model_with_code,
)
from analytics.cohorts.months import (
    EventOfDay,
    cases_by_month,
    events_by_day,
    events_of_days,
    procedures_by_month,
    uses_by_month,
    uses_of_months,
)
from analytics.cohorts.options import options
from analytics.cohorts.order import order, shared_cases
from analytics.cohorts.places import cases_of_places, lesions, places
from analytics.cohorts.rescue import (
    rescue_tools,
)
from analytics.cohorts.shelves import NOT_ON_SHELF, ToolsWanted, tools_wanted, wishes
from analytics.cohorts.signal_words import signal_words
from analytics.cohorts.sites import names_of_sites, operators, sites
from analytics.filters import Filters
from registry.reading.owed import months_of_beginning

__all__ = [
    "NOT_ON_SHELF",
    "DeviceCounts",
    "EventOfDay",
    "Filters",
    "ModelNamed",
    "ProcedureCounts",
    "Reasons",
    "Row",
    "Table",
    "ToolsWanted",
    "annotations_of",
    "at_one_moment",
    "by_value",
    "cases_by_month",
    "cases_of_places",
    "catalogue_of",
    "considered",
    "curve",
    "devices",
    "endings",
    "events_by_day",
    "events_of_days",
    "events_of_lots",
    "ever_annotated",
    "extent",
    "extent_of_devices",
    "lesions",
    "lot_with_code",
    "lots_aside_at",
    "lots_aside_of",
    "lots_released",
    "lots_seen_twice",
    "lots_set_aside",
    "lots_that_stand_out",
    "model_with_code",
    "months_in_error",
    "months_of_beginning",
    "months_reported_whole",
    "months_with_uses",
    "names_of_sites",
    "operators",
    "options",
    "order",
    "outside_curve",
    "places",
    "procedures",
    "procedures_by_month",
    "rescue_tools",
    "shared_cases",
    "signal_words",
    "sites",
    "situations",
    "techniques",
    "tools_wanted",
    "uses_by_month",
    "uses_of_months",
    "wishes",
    "without_acts",
    "without_cause",
]

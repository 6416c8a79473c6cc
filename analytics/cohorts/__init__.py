"""The only place that queries: whose cases and which days in, small tables of counts out.

Nothing is counted without a `Scope`, which has no default. The database counts, on the derived columns; no statistics
here. The rules (R2 to R13) are stated in DEVELOPERS.md. Imports run downwards: counting < attempts, endings, devices <
left_out, months.
"""

from __future__ import annotations

from analytics.cohorts.attempts import considered, extent, situations, techniques
from analytics.cohorts.counting import Row, Table, at_one_moment
from analytics.cohorts.devices import (
    DeviceCounts,
    ProcedureCounts,
    devices,
    extent_of_devices,
    months_with_uses,
    names_of_models,
    procedures,
)
from analytics.cohorts.endings import curve, endings
from analytics.cohorts.left_out import (
    Reasons,
    outside_curve,
    perhaps_outside,
    without_acts,
    without_cause,
)
from analytics.cohorts.months import cases_by_month, events_by_day, procedures_by_month, uses_by_month
from analytics.cohorts.options import options
from analytics.cohorts.order import order, shared_cases
from analytics.cohorts.places import cases_of_places, lesions, places
from analytics.cohorts.shelves import NOT_ON_SHELF, followed, wanted
from analytics.cohorts.sites import names_of_sites, operators, sites
from analytics.filters import Filters

__all__ = [
    "NOT_ON_SHELF",
    "DeviceCounts",
    "Filters",
    "ProcedureCounts",
    "Reasons",
    "Row",
    "Table",
    "at_one_moment",
    "cases_by_month",
    "cases_of_places",
    "considered",
    "curve",
    "devices",
    "endings",
    "events_by_day",
    "extent",
    "extent_of_devices",
    "followed",
    "lesions",
    "months_with_uses",
    "names_of_models",
    "names_of_sites",
    "operators",
    "options",
    "order",
    "outside_curve",
    "perhaps_outside",
    "places",
    "procedures",
    "procedures_by_month",
    "shared_cases",
    "sites",
    "situations",
    "techniques",
    "uses_by_month",
    "wanted",
    "without_acts",
    "without_cause",
]

"""Funnel limits, control charts and cumulative sums, each with what it takes for chance; a signal is no cause."""

from __future__ import annotations

from analytics.statistics.control.charts import ControlChart, g_chart, p_chart, t_chart, u_chart
from analytics.statistics.control.crossings import expected_crossings
from analytics.statistics.control.cusum import (
    Cusum,
    EventsWithin,
    bernoulli_cusum,
    binomial_cusum,
    events_within,
    risk_adjusted_cusum,
)
from analytics.statistics.control.funnel import (
    FunnelLimits,
    Overdispersion,
    funnel_limits,
    funnel_p_values,
    overdispersion,
)
from analytics.statistics.control.run_length import (
    CusumDesign,
    average_run_length,
    cusum_design,
    cusum_threshold,
    risk_adjusted_average_run_length,
)

__all__ = [
    "ControlChart",
    "Cusum",
    "CusumDesign",
    "EventsWithin",
    "FunnelLimits",
    "Overdispersion",
    "average_run_length",
    "bernoulli_cusum",
    "binomial_cusum",
    "cusum_design",
    "cusum_threshold",
    "events_within",
    "expected_crossings",
    "funnel_limits",
    "funnel_p_values",
    "g_chart",
    "overdispersion",
    "p_chart",
    "risk_adjusted_average_run_length",
    "risk_adjusted_cusum",
    "t_chart",
    "u_chart",
]

"""Funnel limits, control charts and cumulative sums, each with what it takes for chance; a signal is no cause."""

from __future__ import annotations

from analytics.statistics.control.charts import ControlChart, g_chart, p_chart, t_chart, u_chart
from analytics.statistics.control.funnel import (
    FunnelLimits,
    Overdispersion,
    funnel_limits,
    overdispersion,
)

__all__ = [
    "ControlChart",
    "FunnelLimits",
    "Overdispersion",
    "funnel_limits",
    "g_chart",
    "overdispersion",
    "p_chart",
    "t_chart",
    "u_chart",
]

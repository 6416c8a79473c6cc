"""Answers as lines of a page: words, rounded numbers and pictures. No query; nothing is ordered by a rate."""

from __future__ import annotations

from analytics.figures.attempts import ATTEMPTS_BY_TECHNIQUE, attempts_by_technique
from analytics.figures.devices import (
    DEVICE_RATES,
    DeviceTable,
    classes_table,
    device_rates,
    drawn_in_words,
    makers_table,
    models_table,
)
from analytics.figures.endings import ENDINGS_BY_ATTEMPT, endings_by_attempt
from analytics.figures.months import (
    CASES_BY_MONTH,
    EVENTS_BY_MONTH,
    RUNNING_SUM,
    USES_BETWEEN_EVENTS,
    cases_by_month,
    events_by_month,
    running_sum,
    uses_between_events,
)
from analytics.figures.order import ORDER_OF_ATTEMPTS, order_of_attempts
from analytics.figures.over_time import (
    event_lines,
    half_years,
    sum_in_words,
    why_of_procedures,
    why_this_chart,
)
from analytics.figures.places import (
    PLACES,
    CrossTable,
    context_rows,
    cross_tables,
    map_of_places,
    place_lines,
)
from analytics.figures.rescue import (
    RescueTool,
    rescue_tools,
)
from analytics.figures.shelves import (
    WISH_COLUMNS,
    WantedLine,
    said_of_the_list,
    wanted_lines,
    wish_rows,
)
from analytics.figures.sites import (
    OPERATOR_FUNNEL,
    SITE_FUNNEL,
    GroupLine,
    compared_in_words,
    operator_funnel,
    operator_lines,
    share_and_limits,
    site_funnel,
    site_lines,
)
from analytics.figures.situations import (
    label_of_situation,
    situations_by_group,
    situations_offered,
    title_of,
)
from analytics.figures.techniques import mixes, option_lines, technique_lines, totals_in_words
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
    "ATTEMPTS_BY_TECHNIQUE",
    "CASES_BY_MONTH",
    "DEVICE_RATES",
    "ENDINGS_BY_ATTEMPT",
    "EVENTS_BY_MONTH",
    "OPERATOR_FUNNEL",
    "ORDER_OF_ATTEMPTS",
    "PLACES",
    "RUNNING_SUM",
    "SITE_FUNNEL",
    "USES_BETWEEN_EVENTS",
    "WISH_COLUMNS",
    "CrossTable",
    "DeviceTable",
    "GroupLine",
    "Number",
    "RescueTool",
    "WantedLine",
    "attempts_by_technique",
    "cases_by_month",
    "classes_table",
    "compared_in_words",
    "context_rows",
    "cross_tables",
    "device_rates",
    "drawn_in_words",
    "endings_by_attempt",
    "event_lines",
    "events_by_month",
    "half_years",
    "label_of_situation",
    "left_out_in_words",
    "makers_table",
    "map_of_places",
    "missing_in_words",
    "mixes",
    "models_table",
    "operator_funnel",
    "operator_lines",
    "option_lines",
    "order_of_attempts",
    "percent_in_words",
    "period_in_words",
    "place_lines",
    "rate_in_words",
    "rescue_tools",
    "resting_on",
    "running_sum",
    "said_of_the_list",
    "share_and_limits",
    "site_funnel",
    "site_lines",
    "situations_by_group",
    "situations_offered",
    "sum_in_words",
    "technique_lines",
    "title_of",
    "totals_in_words",
    "uses_between_events",
    "wanted_lines",
    "why_of_procedures",
    "why_this_chart",
    "wish_rows",
]

"""Disclosure control of tables of people; it measures, hides, attacks, and never says that nobody is recognised."""

from __future__ import annotations

from analytics.statistics.disclosure.attacks import (
    attack,
    difference_leaks,
    percentage_leaks,
    proportion_leaks,
)
from analytics.statistics.disclosure.cells import suppress_small_cells
from analytics.statistics.disclosure.classes import class_sizes, l_diversity

__all__ = [
    "attack",
    "class_sizes",
    "difference_leaks",
    "l_diversity",
    "percentage_leaks",
    "proportion_leaks",
    "suppress_small_cells",
]

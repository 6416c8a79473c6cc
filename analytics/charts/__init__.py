"""Answers as pictures: SVG text, light and dark by classes. No query, no arithmetic but that of scales."""

from __future__ import annotations

from analytics.charts.interval import axis, axis_for, interval, upper_limit

__all__ = ["axis", "axis_for", "interval", "upper_limit"]

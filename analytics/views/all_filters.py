"""The chips of pages that take every filter, the situation as one among them, and what they narrow to in words."""

from __future__ import annotations

from collections.abc import Iterable

from analytics import chips, figures
from analytics.asking import Asked
from analytics.chips import Chip
from analytics.views.asked import Sites
from registry.terms import CLOSED
from registry.vocabulary import word_list


def chips_of(asked: Asked, sites: Sites) -> list[Chip]:
    """Every filter of acts; all situations are offered, whether or not one of them was met."""
    situations = [
        (code, figures.label_of_situation(code)) for code in word_list("situation").codes if code != CLOSED
    ]
    return [
        *chips.site_chip(asked, sites),
        chips.period_chip(asked, whole_months=False),
        chips.situation_chip(asked, situations, ""),
        chips.lesion_chip(asked),
        chips.device_chip(asked, wires=True),
    ]


def narrowed(found: Iterable[Chip]) -> str:
    """What the figures are of alone, the situation too, since it stands in no title here."""
    words = [chip.words for chip in found if chip.narrows]
    return f"Only: {'; '.join(words)}." if words else ""

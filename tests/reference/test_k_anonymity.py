"""Class sizes against the table with which k-anonymity was published."""

from __future__ import annotations

import pytest

from analytics.statistics.disclosure import class_sizes

pytestmark = pytest.mark.pure

PUBLISHED = (
    [("black", 1965, "m", "0214*")] * 2
    + [("black", 1965, "f", "0213*")] * 2
    + [("black", 1964, "f", "0213*")] * 2
    + [("white", 1964, "m", "0213*")] * 3
    + [("white", 1967, "m", "0213*")] * 2
)
"""Sweeney, Int J Uncertain Fuzziness Knowl-Based Syst 2002;10:557-570, figure 2; the table from memory."""


def test_the_published_table_is_2_anonymous() -> None:
    race, birth, sex, zip_code = zip(*PUBLISHED, strict=True)
    sizes = class_sizes({"race": race, "birth": birth, "sex": sex, "zip": zip_code})
    assert sizes.tolist() == [2, 2, 2, 2, 2, 2, 3, 3, 3, 2, 2]
    assert sizes.min() == 2

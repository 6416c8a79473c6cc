"""Class sizes and diversity against the tables with which k-anonymity and l-diversity were published."""

from __future__ import annotations

import pytest

from analytics.statistics.disclosure import class_sizes, l_diversity

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


PROBLEMS = (
    ["short breath", "chest pain"]
    + ["hypertension"] * 2
    + ["obesity", "chest pain"]
    + ["chest pain", "obesity", "short breath"]
    + ["chest pain"] * 2
)
"""The same table's column of problems, from memory."""


def test_two_classes_of_the_published_table_tell_the_problem_all_the_same() -> None:
    """2-anonymous and 1-diverse: two classes are homogeneous."""
    race, birth, sex, zip_code = zip(*PUBLISHED, strict=True)
    result = l_diversity({"race": race, "birth": birth, "sex": sex, "zip": zip_code}, PROBLEMS)
    assert result.distinct.tolist() == [2, 2, 1, 1, 2, 2, 3, 3, 3, 1, 1]
    assert result.entropy == pytest.approx([2, 2, 1, 1, 2, 2, 3, 3, 3, 1, 1])


def test_the_published_inpatients_are_4_anonymous_and_either_1_or_3_diverse() -> None:
    """Machanavajjhala et al., ACM Trans Knowl Discov Data 2007;1:3, figures 2 and 3: from memory.

    Entropy diversity recomputed by hand: 4 values as 2, 1, 1 weigh as exp(1.5 ln 2) = 2.8284.
    """
    classes = {"class": [1] * 4 + [2] * 4 + [3] * 4}
    anonymous = ["heart", "heart", "viral", "viral", "cancer", "heart", "viral", "viral"] + ["cancer"] * 4
    assert class_sizes(classes).min() == 4
    assert l_diversity(classes, anonymous).distinct.min() == 1
    mixed = ["heart", "viral", "cancer", "cancer"]
    diverse = l_diversity(classes, [*mixed, "cancer", "heart", "viral", "viral", *mixed])
    assert diverse.distinct.min() == 3
    assert diverse.entropy == pytest.approx([2**1.5] * 12)

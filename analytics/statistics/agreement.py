"""Agreement of two raters beyond chance; it never says which of them is right."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analytics.statistics._inputs import FloatArray, amounts, counts, two_sided_quantile
from analytics.statistics.proportions import wilson

Weights = Literal["linear", "quadratic"]


@dataclass(frozen=True, slots=True)
class CohenKappa:
    """Cohen's kappa, from `lower` to `upper`; single floats, all NaN where kappa is not defined.

    `kappa`: 1 is full agreement, 0 that of chance. `standard_error`: for limits. `standard_error_of_none`: as it
    would be were agreement that of chance, for the test `kappa / standard_error_of_none`. `observed`, `expected`:
    the share agreed on, and by chance given how often each rater used each category; weighted if kappa is.
    """

    kappa: float
    standard_error: float
    standard_error_of_none: float
    lower: float
    upper: float
    observed: float
    expected: float


@dataclass(frozen=True, slots=True)
class AdjustedKappa:
    """Kappa as it would be with both answers equally frequent and raters alike, from `lower` to `upper`.

    `prevalence_index`: share of cases to which both gave the first answer less that of the second, -1 to 1.
    `bias_index`: how much more often the rater of the rows gave the first answer than that of the columns,
    as a share of cases, -1 to 1. Show the adjusted kappa beside kappa and both indexes, never alone.
    """

    kappa: float
    standard_error: float
    lower: float
    upper: float
    prevalence_index: float
    bias_index: float


def cohen_kappa(
    table: ArrayLike, weights: Weights | ArrayLike | None = None, confidence: float = 0.95
) -> CohenKappa:
    """Cohen's kappa of two raters who each put every case into one of the same categories.

    `table` holds counts of cases, square: a row for each category of one rater, a column for each of the
    other, in the same order. `weights`: None counts only equal categories as agreement; "linear" and
    "quadratic" give credit to near ones, 1 - d/(k - 1) and 1 - d²/(k - 1)² for d steps of k ordered
    categories; or a table of such credits, from 0 to 1 and 1 on the diagonal.

    The standard error is that of large samples without assuming agreement by chance; limits are kappa ± z times
    it, cut off at 1 and -1. It is 0 where all cases are agreed on, which is no certainty. Without cases, or
    where chance alone would give full agreement (both raters used one and the same category), all that rests on
    them is NaN.

    Raises ValueError, naming the argument, for a table that is not square or holds what is no count, for
    other weights and for a confidence outside (0, 1).

    Sources: Cohen, Educ Psychol Meas 1960;20:37-46 and Psychol Bull 1968;70:213-220 (weights); standard errors:
    Fleiss, Cohen & Everitt, Psychol Bull 1969;72:323-327; linear and quadratic weights as in Fleiss & Cohen,
    Educ Psychol Meas 1973;33:613-619 and Cicchetti & Allison, Am J EEG Technol 1971;11:101-110.

    Example: cohen_kappa([[40, 9], [6, 45]]).kappa gives 0.699519.
    """
    z = two_sided_quantile(confidence)
    cases = _square_table(table)
    credit = _credits(weights, len(cases))
    total = cases.sum()
    share = cases / total if total else np.full(cases.shape, np.nan)
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    # By what is missing to full agreement: exactly 0 where nothing is, so kappa is then exactly 1 or undefined.
    missed, missed_by_chance = float((share * (1 - credit)).sum()), float(rows @ (1 - credit) @ columns)
    expected = 1 - missed_by_chance
    if not missed_by_chance > 0:
        return CohenKappa(math.nan, math.nan, math.nan, math.nan, math.nan, 1 - missed, expected)
    kappa = 1 - missed / missed_by_chance
    mean_credit = (credit @ columns)[:, np.newaxis] + rows @ credit
    spread = (share * (credit - mean_credit * (1 - kappa)) ** 2).sum() - (kappa - expected * (1 - kappa)) ** 2
    spread_of_none = (np.outer(rows, columns) * (credit - mean_credit) ** 2).sum() - expected**2
    error, error_of_none = (
        math.sqrt(max(float(value), 0.0) / total) / missed_by_chance for value in (spread, spread_of_none)
    )
    lower, upper = max(kappa - z * error, min(kappa, -1.0)), min(kappa + z * error, 1.0)
    return CohenKappa(kappa, error, error_of_none, lower, upper, 1 - missed, expected)


def prevalence_bias_adjusted_kappa(table: ArrayLike, confidence: float = 0.95) -> AdjustedKappa:
    """Prevalence-adjusted bias-adjusted kappa (PABAK) of two raters and two categories: 2 × agreed share - 1.

    `table` holds counts of cases, 2 rows of 2: the first row and column are the first answer of each rater.
    Kappa is low where one answer is rare although the raters agree; this says how much of it that is.
    Limits are those of Wilson for the agreed share, carried over, so they stay within -1 and 1. Without cases
    all is NaN.

    Raises ValueError, naming the argument, for a table that is not 2 by 2 or holds what is no count, and for
    a confidence outside (0, 1).

    Source: Byrt, Bishop & Carlin, J Clin Epidemiol 1993;46:423-429; the limits are common practice for a
    proportion.

    Example: prevalence_bias_adjusted_kappa([[80, 10], [5, 5]]).kappa gives 0.7.
    """
    cases = _square_table(table)
    if cases.shape != (2, 2):
        raise ValueError(f"table: must be 2 by 2, but is {cases.shape[0]} by {cases.shape[1]}")
    agreed, total = float(np.trace(cases)), float(cases.sum())
    lower, upper = wilson(agreed, total, confidence)
    if not total:
        return AdjustedKappa(*[math.nan] * 6)
    (both_first, only_rows), (only_columns, both_second) = cases.tolist()
    share = agreed / total
    return AdjustedKappa(
        kappa=2 * share - 1,
        standard_error=2 * math.sqrt(share * (1 - share) / total),
        lower=float(2 * lower - 1),
        upper=float(2 * upper - 1),
        prevalence_index=(both_first - both_second) / total,
        bias_index=(only_rows - only_columns) / total,
    )


def _square_table(table: ArrayLike) -> FloatArray:
    cases = counts("table", table)
    if cases.ndim != 2 or cases.shape[0] != cases.shape[1] or not cases.size:
        raise ValueError(
            f"table: must have as many rows as columns, one for each category, not {cases.shape}"
        )
    return cases


def _credits(weights: Weights | ArrayLike | None, categories: int) -> FloatArray:
    """How far each pair of categories counts as agreement, from 0 to 1."""
    if weights is None:
        return np.eye(categories)
    if isinstance(weights, str):
        if weights not in ("linear", "quadratic"):
            raise ValueError(f"weights: must be None, linear, quadratic or a table, not {weights!r}")
        places = np.arange(categories)
        apart = np.abs(np.subtract.outer(places, places)) / max(categories - 1, 1)
        credit: FloatArray = 1 - (apart if weights == "linear" else apart**2)
        return credit
    credit = amounts("weights", weights)
    if credit.shape != (categories, categories):
        raise ValueError(f"weights: must be as large as the table, {categories} by {categories}")
    if (credit > 1).any() or (np.diag(credit) != 1).any():
        raise ValueError("weights: must be from 0 to 1, and 1 where both raters agree")
    return credit

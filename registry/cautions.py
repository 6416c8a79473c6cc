"""The one catalogue of cautions: code returns a caution's name, what is printed comes from here. No Django."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from string import Formatter
from types import MappingProxyType

Parameter = str | int | float

CAUTIONS: Mapping[str, str] = MappingProxyType(
    {
        # Of pages, slides and releases as a whole.
        "trained_teams": (
            "For trained teams. Local protocol, the device's instructions for use and the judgement of the licensed "
            "operator come first. Antiplatelet choices and reporting duties are to be confirmed against current "
            "guidance and local law."
        ),
        "observational": (
            "These are counts of what was recorded. They describe what followed, not why: a technique tried third "
            "met cases that two others had failed, and attempts stop once one resolves."
        ),
        "demo_invented": "This is the demo: its people, sites, devices, cases and rates are invented.",
        "release_rule": (
            "This release meets the rule stated in it. Colleagues may still recognise a rare case; share it "
            "accordingly, and do not link it with other data to find out who is meant."
        ),
        "not_clinically_reviewed": "Not clinically reviewed: no responsible person of this site has signed it yet.",
        # Of one figure.
        "few_to_compare": "{successes} of {trials}; too few to compare.",
        "few_events": "{events} in {exposure}; read the limits and not the rate.",
        "none_seen": "None seen in {exposure} {unit}: up to {upper} per {per}.",
        "none_resolved": "None of {trials} {unit}: up to {upper} in 100 by the upper limit.",
        "nothing_to_divide": "No {unit} with a known result, so no estimate.",
        "no_denominator": "No denominator, so no rate.",
        "secondary_only": "0 first, {secondary} secondary: no rate is drawn.",
        "missing_above_5_percent": (
            "No known result in {missing} of {all} {unit}: had none or all of them resolved, it would be {lowest} or "
            "{highest} of {all}."
        ),
        # Of attempts.
        "unadjusted_for_order": (
            "Unadjusted for the order of attempts: read each technique by the number of the attempt."
        ),
        "not_compared": "Teams choose a technique for the case in front of them: recorded here, not compared.",
        "aims_apart": (
            "Getting a device out and securing it in place are different aims and are never added up."
        ),
        "counted_as_if_apart": (
            "{attempts} attempts in {cases} cases: attempts within one case are counted as if apart, so the limits are "
            "too narrow."
        ),
        "clustered": (
            "{attempts} attempts in {cases} cases; the limits are widened by a design effect of {design_effect}."
        ),
        "informative_cluster_size": (
            "Attempts stop once one resolves, so a case with many attempts is a hard one. No widening of limits "
            "removes that; read success at the first attempt, or by case, beside it."
        ),
        "declined": (
            "Declined in {declined} of {considered} complications in which it was considered: resolved in {resolved} "
            "of {attempted} where tried, {resolved} of {considered} where considered."
        ),
        "declined_left_out": "{declined} complications in which it was declined are in no share of attempts.",
        "competing_endings": (
            "Each line is the share with that ending by that attempt; the others compete with it, and surgery, death "
            "and leaving it are endings, not missing follow-up."
        ),
        # Of devices and reports.
        "denominator_source": (
            "First events per 1,000 units opened; uses recorded in {recorded} of {site_months} site-months."
        ),
        "models_not_compared": (
            "Recorded here, not compared: models are opened for different lesions, and a model with few uses has wide "
            "limits. A rate says how often something was reported, not why."
        ),
        "selection_of_reports": (
            "Voluntary reports hold too many dramatic events and too few that were slight or solved quietly: a share "
            "of reports is no incidence."
        ),
        "places_without_denominator": (
            "Counts and no rates: how often each segment, and each kind of lesion, was treated is not recorded."
        ),
        "case_mix": (
            "Case mix is not accounted for: sites and people take on different cases, and few of them say little."
        ),
        # Of comparisons, models and signals.
        "many_compared": (
            "{compared} compared: about {expected} of them fall outside limits of {level} % by chance alone."
        ),
        "overdispersed": "More spread than chance alone: limits widened by the square root of {phi}.",
        "shrunken": ("Drawn towards the mean of {groups} groups ({prior}); the raw figure stands beside it."),
        "signal_means_review": (
            "A signal asks for a review of the cases behind it and says no more. Baseline {baseline}, threshold "
            "{threshold}, a false alarm about every {in_control} and a signal after about {out_of_control} if the odds "
            "are {odds_ratio} times as high; {boundary}."
        ),
        "similar_cases": (
            "{found} cases by {variables}, weights {weights}; {missing} values were missing. Their outcomes are "
            "counts of the past and no forecast for a patient."
        ),
    }
)
"""Wordings by code, with the names of what is put in; a technique, a device or a person is never compared in them."""


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution of one figure: its code and what is put into its wording; in words by `str`."""

    code: str
    parameters: Mapping[str, Parameter]

    def __str__(self) -> str:
        return caution(self.code, **self.parameters)


def cautioned(code: str, **parameters: Parameter) -> Caution:
    """A caution of one figure; KeyError and ValueError as `caution`, where it is made and not where it is read."""
    _require(code, parameters)
    return Caution(code, MappingProxyType(parameters))


def caution(code: str, /, **parameters: Parameter) -> str:
    """The wording of a caution with its figures.

    Whole numbers are printed with a comma at thousands, others with three significant digits. KeyError where there is
    no such code; ValueError, naming the parameter, where one is missing, is not asked for or is no finite number.
    """
    _require(code, parameters)
    return CAUTIONS[code].format_map({name: _printed(value) for name, value in parameters.items()})


def _require(code: str, parameters: Mapping[str, Parameter]) -> None:
    asked = _asked(code)
    if missing := asked - parameters.keys():
        raise ValueError(f"{code}: the parameter {min(missing)} is missing")
    if unknown := parameters.keys() - asked:
        raise ValueError(f"{code}: there is no parameter {min(unknown)}")
    for name, value in parameters.items():
        if not isinstance(value, str) and not math.isfinite(value):
            raise ValueError(f"{name}: must be a finite number, not {value}")


@cache
def _asked(code: str) -> frozenset[str]:
    """The names of what is put into a wording."""
    return frozenset(name for _, name, _, _ in Formatter().parse(CAUTIONS[code]) if name)


def _printed(value: Parameter) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        return f"{value:,}"
    return f"{Decimal(f'{value:.3g}'):,f}"

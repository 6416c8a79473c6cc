"""What the statistics say of themselves, for the page that explains them; it reads their text and computes nothing.

The text is read from the source files, so that the page neither loads a statistics library nor falls out of step.
"""

from __future__ import annotations

import ast
import inspect
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).with_name("statistics")

GROUPS = {
    "proportions": "Shares",
    "counts": "Rates",
    "comparisons": "Comparing groups",
    "multiplicity": "Many comparisons at once",
    "sequences": "The order of attempts, and time",
    "shrinkage": "Many small groups",
    "control": "Watching over time",
    "agreement": "Agreement between readers",
    "similarity": "Similar cases",
    "disclosure": "Tables that leave the registry",
}
"""The modules of the statistics, or packages, in the order of the page, with their headings."""

TITLES = {
    "wilson": "Wilson's limits of a share",
    "clopper_pearson": "Clopper and Pearson's exact limits of a share",
    "mid_p": "Mid-p limits of a share",
    "newcombe_difference": "Newcombe's limits of the difference of two shares",
    "clustered_wilson": "Wilson's limits where several attempts come from one case",
    "clustered_wilson_of_sums": "The same for many rows, from their sums",
    "garwood": "Garwood's exact limits of a rate",
    "compare_rates": "Comparing two rates",
    "fisher_exact": "Fisher's exact test of a table of four",
    "mid_p_of_table": "Mid-p of a table of four",
    "mantel_haenszel_difference": "Mantel and Haenszel's difference over strata",
    "directly_standardised": "A share at a common mix of strata",
    "benjamini_hochberg": "Benjamini and Hochberg's adjusted p-values",
    "holm": "Holm's adjusted p-values",
    "cumulative_incidence": "What had become of complications, attempt by attempt",
    "kaplan_meier": "Kaplan and Meier's estimate of survival",
    "conditional_success": "Success at each attempt of those who made it",
    "beta_binomial": "Shares of many groups, drawn towards their mean",
    "gamma_poisson": "Rates of many groups, drawn towards their mean",
    "funnel_limits": "Limits of a funnel",
    "funnel_p_values": "How far a group of a funnel lies from the rest",
    "overdispersion": "More spread than chance alone (overdispersion)",
    "p_chart": "Chart of shares (p chart)",
    "u_chart": "Chart of rates (u chart)",
    "g_chart": "Chart of uses between events (g chart)",
    "t_chart": "Chart of time between events (t chart)",
    "bernoulli_cusum": "Cumulative sum, one use after the other",
    "binomial_cusum": "Cumulative sum, month after month",
    "risk_adjusted_cusum": "Cumulative sum adjusted for expected risk",
    "cusum_design": "Design of a cumulative sum from the run length wanted",
    "cusum_threshold": "Threshold of a cumulative sum",
    "average_run_length": "How long until a cumulative sum signals",
    "expected_crossings": "How often chance alone takes a cumulative sum over its threshold",
    "events_within": "So many events within so many uses",
    "cohen_kappa": "Cohen's kappa",
    "prevalence_bias_adjusted_kappa": "Kappa adjusted for prevalence and bias",
    "gower": "Gower's similarity",
    "class_sizes": "How many rows are alike (k-anonymity)",
    "l_diversity": "How many answers rows that are alike have (l-diversity)",
    "suppress_small_cells": "Small cells hidden, and others with them",
    "attack": "What can be worked out of a table with hidden cells",
    "difference_leaks": "Two tables whose difference gives a small count away",
    "proportion_leaks": "A proportion that gives a small count away",
    "percentage_leaks": "A percentage that gives a small count away",
}
"""Titles of functions whose name says too little; any other has its name as words."""

Phrase = tuple[tuple[str, bool], ...]
"""A paragraph in pieces, each with whether it is a name or a call."""


@dataclass(frozen=True, slots=True)
class Method:
    """One function: its name, which is its anchor, what it says of itself, and a worked example."""

    name: str
    title: str
    module: str
    summary: Phrase
    notes: tuple[Phrase, ...]
    sources: tuple[Phrase, ...]
    call: str
    gives: str


@dataclass(frozen=True, slots=True)
class Group:
    """The functions of one module, with the sentence that says what it is for."""

    title: str
    summary: Phrase
    methods: tuple[Method, ...]


@cache
def groups() -> tuple[Group, ...]:
    """Every public function of the statistics, by module in the order of the page."""
    names = _names()
    order = [*(name for name in GROUPS if name in names), *sorted(names - GROUPS.keys())]
    return tuple(one for one in map(_group, order) if one.methods)


def _names() -> set[str]:
    """Modules and packages of the statistics by name, without those that are theirs alone."""
    return {path.stem for path in FOLDER.iterdir() if _is_public(path)}


def _is_public(path: Path) -> bool:
    return not path.stem.startswith("_") and (path.suffix == ".py" or (path / "__init__.py").exists())


def _group(name: str) -> Group:
    whole = FOLDER / name
    says = _parsed(whole / "__init__.py" if whole.is_dir() else whole.with_suffix(".py"))
    title = GROUPS.get(name, name.replace("_", " ").capitalize())
    summary = inspect.cleandoc(ast.get_docstring(says) or "").split("\n\n")[0]
    functions = _of_package(whole, says) if whole.is_dir() else _public(says)
    methods = tuple(_method(one.name, name, ast.get_docstring(one) or "") for one in functions)
    return Group(title, _phrase(summary), methods)


def _parsed(file: Path) -> ast.Module:
    return ast.parse(file.read_text(encoding="utf-8"))


def _public(module: ast.Module) -> list[ast.FunctionDef]:
    return [one for one in module.body if isinstance(one, ast.FunctionDef) and not one.name.startswith("_")]


def _of_package(folder: Path, says: ast.Module) -> list[ast.FunctionDef]:
    """The functions of a package that its `__init__` gives out, by module."""
    given = {alias.name for one in says.body if isinstance(one, ast.ImportFrom) for alias in one.names}
    modules = (_parsed(file) for file in sorted(folder.glob("[!_]*.py")))
    return [function for module in modules for function in _public(module) if function.name in given]


def _method(name: str, module: str, text: str) -> Method:
    first, *others = [" ".join(one.split()) for one in text.split("\n\n")]
    sources = [one for one in others if re.match(r"Sources?:", one)]
    examples = [one for one in others if one.startswith("Example: ")]
    call, _, gives = examples[-1].removeprefix("Example: ").partition(" gives ") if examples else ("", "", "")
    return Method(
        name=name,
        title=TITLES.get(name, name.replace("_", " ").capitalize()),
        module=f"analytics.statistics.{module}",
        summary=_phrase(first),
        notes=tuple(_phrase(one) for one in others if one not in sources and one not in examples),
        sources=tuple(_phrase(re.sub(r"^Sources?: *", "", one)) for one in sources),
        call=call,
        gives=gives,
    )


def _phrase(text: str) -> Phrase:
    """
    >>> _phrase("Give `trials` as counts.")
    (('Give ', False), ('trials', True), (' as counts.', False))
    """
    pieces = text.split("`")
    return tuple((piece, bool(number % 2)) for number, piece in enumerate(pieces) if piece)

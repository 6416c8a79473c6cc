"""Every statistic says where it comes from, and its worked example is true."""

from __future__ import annotations

import dataclasses
import importlib
import re
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pytest

from analytics.methods import GROUPS, Method, groups

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

METHODS = [method for group in groups() for method in group.methods]
FIGURE = re.compile(r"-?\d+(?:,\d{3})*(?:\.\d+)?(?:e-?\d+)?")


def figures_of(value: Any) -> Iterator[float]:
    """Every number in a result, whatever it is held in."""
    if value is None or isinstance(value, str | bytes):
        return
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from figures_of(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from figures_of(one)
    elif isinstance(value, np.ma.MaskedArray):
        yield from map(float, value.compressed())
    elif isinstance(value, np.ndarray):
        yield from map(float, value.ravel())
    elif isinstance(value, list | tuple):
        for one in value:
            yield from figures_of(one)
    else:
        yield float(value)


def printed(text: str) -> list[tuple[str, float, float]]:
    """The figures of a text as they stand, as they are, and half of their last place."""
    found = []
    for figure in FIGURE.findall(text):
        mantissa, _, exponent = figure.partition("e")
        places = len(mantissa.partition(".")[2]) - int(exponent or 0)
        found.append((figure, float(figure.replace(",", "")), 0.5 * 10.0**-places))
    return found


def answers_of(value: Any) -> list[str]:
    """Yes and no in a result that is nothing else, as they are printed; empty for any other."""
    array = np.asarray(value)
    return list(map(str, array.ravel().tolist())) if array.dtype.kind == "b" else []


def not_in_the_result(method: Method) -> list[str]:
    """Figures printed as the result of the example that its call does not give; of yes and no, each in its turn."""
    names = {"np": np, **vars(importlib.import_module(method.module))}
    result = eval(method.call, names)
    if answers := answers_of(result):
        said = re.findall("True|False", method.gives)
        return [] if said == answers else said or ["nothing"]
    got = list(figures_of(result))
    return [
        figure
        for figure, value, half in printed(method.gives)
        if not any(abs(value - one) <= half * 1.0001 for one in got)
    ]


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_every_statistic_says_what_it_is_and_names_its_source(method: Method) -> None:
    assert method.summary and method.sources
    assert re.search(r"(1[89]|20)\d\d", " ".join(text for one in method.sources for text, _ in one))


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_every_worked_example_gives_the_figures_that_it_prints(method: Method) -> None:
    assert method.gives.endswith("."), f"{method.name} has no example"
    assert re.search(r"\d|True|False", method.gives), f"the example of {method.name} prints no figure"
    assert not_in_the_result(method) == []


def test_an_example_with_a_wrong_figure_is_found() -> None:
    (wilson,) = (method for method in METHODS if method.name == "wilson")
    wrong = dataclasses.replace(wilson, gives="0.319511 to 0.806744.")
    assert not_in_the_result(wrong) == ["0.806744"]


def test_the_page_has_one_anchor_for_each_statistic() -> None:
    names = [method.name for method in METHODS]
    assert len(set(names)) == len(names)
    assert {"wilson", "garwood", "cumulative_incidence", "class_sizes"} <= set(names)


def test_every_module_of_statistics_has_a_heading_of_its_own() -> None:
    """A heading that fell back on the module's name would be a word of the program on a page."""
    assert {group.title for group in groups()} <= set(GROUPS.values())

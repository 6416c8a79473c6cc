"""Cases in which everything that must not leave is planted with words that a scanner finds; may touch no database.

Each case is the invented case with every property, with a canary in each typed text, identifier, name, staff code,
model and ref, so that a new field of these kinds is planted without anybody thinking of it.
"""

from __future__ import annotations

import datetime
import itertools
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from registry import case_fields as fields
from registry.canonical import Json, read
from registry.partial_dates import span
from tests.builders import Document

EVERY_PROPERTY = Path(__file__).parents[2] / "fixtures" / "cases" / "every_property.json"
WORD = "zqcanary"
CANARY = re.compile(rf"{WORD}\w*", re.IGNORECASE)
SITES = (f"{WORD}-north", f"{WORD}-harbour", f"{WORD}-valley")
GTIN = "09506000134352"
DAY = re.compile(r"(?<!\d)\d{4}-\d{2}-\d{2}(?!\d)")
MONTH = re.compile(r"(?<![\d-])(19|20|21)\d{2}-\d{2}(?![\d-])")
CLOCK = re.compile(r"(?<!\d)([01]\d|2[0-3]):[0-5]\d(?!\d)")
STARTED_AT = "07:43"
FIRST = datetime.date(2023, 1, 9)
YOUNG = 15
"""The age of one case, which is in a class of its own."""


@cache
def every_property() -> Document:
    """The invented case in which every property is given."""
    document: Document = read(EVERY_PROPERTY.read_bytes())
    return document


def planted_cases(number: int) -> list[Document]:
    """So many cases of three sites and two years; the first alone in its class, the others in 24 classes.

    What tells them apart in a release is `outcome.discharge_day`, the number of the case.
    """
    return [planted_case(each) for each in range(number)]


def planted_case(number: int) -> Document:
    """The case of that number."""
    procedure = FIRST + datetime.timedelta(days=number % 300 + 365 * (number // 3 % 2))
    planting = _Planting(number, procedure - span(every_property()["procedure"]["date"]).earliest)
    document: Document = planting.thing(every_property(), fields.CASE)
    document["site"] = SITES[number % 3]
    document["procedure"] |= {"date": procedure.isoformat(), "started_at": STARTED_AT}
    age = YOUNG if number == 0 else (61, 93)[number // 6 % 2]
    document["patient"] |= {"age": age, "sex": ("female", "male")[number // 12 % 2]}
    document["outcome"]["discharge_day"] = number
    return document


class _Planting:
    """Copies the document of one case with a new canary in each place that must not leave."""

    def __init__(self, case: int, later: datetime.timedelta) -> None:
        self._case, self._later = case, later
        self._count = itertools.count()
        self._refs: dict[str, str] = {}

    def thing(self, thing: Document, kind: fields.Thing) -> Document:
        """A copy of an object."""
        copy = {name: self._value(value, kind.fields[name]) for name, value in thing.items()}
        if kind is fields.CASE:
            copy["vocabulary_version"] = thing["vocabulary_version"]
        elif "model" in kind.fields and thing.get("model") not in (None, "unknown"):
            copy["model"] = f"{WORD}-model-{thing.get('class')}"
        return copy

    def _value(self, value: Json, kind: fields.Field) -> Json:
        if value is None or value == "unknown":
            return value
        if isinstance(kind, fields.Thing):
            return self.thing(value, kind)
        if isinstance(kind, fields.List):
            return [self._value(item, kind.item) for item in value]
        match kind:
            case fields.Label() | fields.Reference():
                return self._refs.setdefault(value, f"{WORD}{len(self._refs)}")
            case fields.Person():
                return f"{WORD}{self._case % 40}"
            case fields.Identifier() if str(value).startswith("(01)"):
                return f"(01){GTIN}(21){self._canary()}"
            case fields.Text():
                return f"{value} {self._canary()}"
            case fields.Identifier() | fields.Name():
                return self._canary()
            case fields.Date():
                moved = span(value).latest + self._later
                return moved.isoformat()[: len(value)]
        return value

    def _canary(self) -> str:
        return f"{WORD}{self._case}x{next(self._count)}"


def canaries_in(value: Any) -> Iterator[str]:
    """Every canary in a text or in the texts of a JSON value."""
    if isinstance(value, dict):
        for inner in value.values():
            yield from canaries_in(inner)
    elif isinstance(value, list):
        for item in value:
            yield from canaries_in(item)
    elif isinstance(value, str):
        yield from CANARY.findall(value)

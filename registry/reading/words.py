"""Values of a clear document as words for a page: dates, sizes, codes, staff; may read no row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from registry.drawings.phrases import joined, known_number, lowered, named, plain
from registry.partial_dates import Span, span
from registry.terms import OTHER, UNKNOWN

Document = Mapping[str, Any]

NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of a case: what it is about, and what was recorded, as a sentence or less."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Section:
    """Facts under one heading."""

    title: str
    facts: list[Fact]


@dataclass(frozen=True, slots=True)
class Known:
    """Names beside codes: of staff of the case's site who have an account, and of device models."""

    staff: Mapping[str, str] = field(default_factory=lambda: NOTHING)
    models: Mapping[str, str] = field(default_factory=lambda: NOTHING)


def said(list_name: str, code: str | None, subject: str) -> str:
    """A code within a sentence, `""` where it is not recorded; `unknown` and `other` are said of the subject."""
    return "" if code is None else lowered(named(list_name, code, subject))


def said_all(list_name: str, codes: Sequence[str] | None, subject: str, none: str = "none") -> str:
    """A list of codes within a sentence: `""` where it is not recorded, `none` where it is empty."""
    if codes is None:
        return ""
    return joined([said(list_name, code, subject) for code in codes]) or none


def phrase(*parts: str) -> str:
    """The parts that say something, set apart by commas."""
    return ", ".join(part for part in parts if part)


def measured(value: Any, unit: str, before: str = "") -> str:
    """A number with its unit, `""` where it is not recorded."""
    if value is None:
        return ""
    number = known_number(value)
    times = "× " if unit[:1].isdigit() else ""
    said_number = "not known" if number is None else f"{plain(number)} {times}{unit}".strip()
    return f"{before} {said_number}".strip()


def on_day(text: str | None) -> str:
    """A date as far as it is known: `14 Mar 2026`, `March 2026`, `2026`; `""` where it is not recorded."""
    return "" if text is None else span_in_words(span(text))


def span_in_words(days: Span) -> str:
    """The same, of the span of days that a date may mean."""
    first = days.earliest
    if first == days.latest:
        return f"{first:%-d %b %Y}"
    return f"{first:%B %Y}" if days.month else f"{first:%Y}"


def who(code: str | None, known: Known, nobody: str) -> str:
    """Somebody of the staff by code, with the name where there is an account."""
    if code is None:
        return nobody
    if code == UNKNOWN:
        return "not known"
    return f"{known.staff[code]} ({code})" if code in known.staff else code


def yes_no(value: str | None, yes: str, no: str, about: str) -> str:
    """An answer as one of two phrases; that it is not known is said of `about`."""
    if value is None:
        return ""
    return {"yes": yes, "no": no}.get(value, f"{about} not known")


def graded(scale: str | None, grade: Any) -> str:
    """A grade by its scale: `type B`; `""` where there is none."""
    if grade is None:
        return ""
    if grade == UNKNOWN or scale in (None, UNKNOWN, OTHER):
        return "grade not known" if grade == UNKNOWN else f"grade {grade}"
    return said(f"grade_{scale}", str(grade), "grade")


def days_after(day: Any, zero: str = "on the day of the procedure") -> str:
    """A day counted from the procedure."""
    if day is None:
        return ""
    number = known_number(day)
    if number is None:
        return "day not known"
    return zero if number == 0 else f"day {plain(number)}"

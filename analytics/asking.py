"""What an address asks: its filters read once, the same for a page and its CSV. Knows no request and runs no query."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from analytics.filters import Filters, PeriodRefused
from registry.drawings.phrases import lowered
from registry.partial_dates import Span, span
from registry.terms import CLOSED
from registry.vocabulary import word_list

CODED: Mapping[str, str] = {
    "situation": "situation",
    "segment": "segment",
    "contents": "lesion_content",
    "device_class": "device_class",
    "wire_class": "wire_class",
}
"""Filters that take a code, each with its word list."""

LABELS: Mapping[str, str] = {
    "site": "Sites",
    "since": "Since",
    "until": "Until",
    "situation": "Situation",
    "segment": "Segment",
    "contents": "What lies in the lesion",
    "device_class": "Device class",
    "wire_class": "Wire class",
    "model": "Model",
    "by": "Rows",
}
"""What each filter is called, beside its field and in a message about it."""

OF_TECHNIQUES = ("site", "since", "until", *CODED)
OF_DEVICES = ("site", "since", "until", "device_class")
OF_DEVICE_RATES = (*OF_DEVICES, "by")
OF_DENOMINATORS = ("site", "since", "until")
OF_RESCUE_TOOLS = ("site", "since", "until", "situation")
OF_SITES = ("since", "until", "device_class")
OF_SIGNALS = ("device_class",)
OF_SIGNAL = ("rule", "subject")
OF_MODEL = ("site", "since", "until")
OF_MONTHS = (*OF_DEVICES, "model")
_OF_WHOLE_MONTHS = (OF_DEVICES, OF_DENOMINATORS, OF_MODEL, OF_MONTHS, OF_DEVICE_RATES, OF_SITES)

WORDS: Mapping[str, Mapping[str, str]] = {
    "by": {"model": "By model", "class": "By class", "maker": "By maker"},
}
"""Ways of putting figures together, each with what it is called; the first is meant where none is given."""

_DAY_OR_MONTH = re.compile(r"\d{4}-\d{2}(-\d{2})?", re.ASCII)
_PERIOD = "YYYY-MM for a whole month, or YYYY-MM-DD"
_LONGEST_SHOWN = 60


def shortened(typed: str) -> str:
    """What was typed, cut where a message would drown in it."""
    return typed if len(typed) <= _LONGEST_SHOWN else f"{typed[:_LONGEST_SHOWN]}…"


@dataclass(frozen=True, slots=True)
class Problem:
    """A filter that cannot be used: which, what was given, what is wrong with it, what is allowed.

    `field` is the filter's name in the address, or several with "and" between them.
    """

    field: str
    value: str
    wrong: str
    allowed: str

    def __str__(self) -> str:
        labels = [LABELS.get(field, f"“{shortened(field)}” in the address") for field in self.fields]
        named = " and ".join([labels[0], *(lowered(label) for label in labels[1:])])
        return f"{named}, “{shortened(self.value)}”: {self.wrong}. Allowed: {self.allowed}."

    @property
    def fields(self) -> list[str]:
        """The filters that it is about, by their names in the address."""
        return self.field.split(" and ")


@dataclass(frozen=True, slots=True)
class Asked:
    """An address as it was typed, and what it asks for: `sites` and `filters` hold only where there is no problem."""

    typed: Mapping[str, tuple[str, ...]]
    sites: tuple[str, ...]
    filters: Filters
    problems: tuple[Problem, ...]

    def of(self, field: str) -> str:
        """What was typed for a filter that is given once, else an empty text."""
        return (self.typed.get(field) or ("",))[0]

    def address(self, **instead: str) -> str:
        """The same filters as the end of an address, some of them changed; an empty text leaves one out."""
        wanted = {**self.typed, **{field: (value,) if value else () for field, value in instead.items()}}
        given = [(field, value) for field, values in wanted.items() for value in values]
        return f"?{urlencode(given, errors='replace')}" if given else ""


def ask(query: Mapping[str, Sequence[str]], allowed: Sequence[str], sites: Mapping[str, str]) -> Asked:
    """Reads filters; `allowed` are those of the page, `sites` the names by code of those that may be asked about."""
    typed = {field: given for field, values in query.items() if (given := _given(values))}
    sites_asked = typed.get("site", ()) if "site" in allowed else ()
    problems = [*_strange_fields(typed, allowed), *_strange_sites(sites_asked, sites)]
    once = {field: values[0] for field, values in typed.items() if field in allowed and field != "site"}
    problems += [*_strange_codes(once), *_strange_words(once)]
    days: dict[str, Span] = {}
    for field in ("since", "until"):
        if field in once:
            try:
                days[field] = day_or_month(once[field])
            except ValueError as error:
                problems.append(Problem(field, once[field], str(error), _PERIOD))
    filters, refused = _filters(
        days, once if not problems else {}, whole_months=tuple(allowed) in _OF_WHOLE_MONTHS
    )
    return Asked(typed, typed.get("site", ()), filters, (*problems, *refused))


def _given(values: Sequence[str]) -> tuple[str, ...]:
    """What was filled in, each once: a form sends its empty fields too."""
    return tuple(dict.fromkeys(value.strip() for value in values if value.strip()))


def day_or_month(text: str) -> Span:
    """`2026-03-14` or `2026-03` as a span; ValueError says what is wrong with anything else."""
    if not _DAY_OR_MONTH.fullmatch(text):
        raise ValueError("not a day or a month")
    return span(text)


def _strange_fields(typed: Mapping[str, Sequence[str]], allowed: Sequence[str]) -> Iterator[Problem]:
    for field, values in typed.items():
        if field not in allowed:
            known = field in OF_TECHNIQUES and tuple(allowed) in (OF_DEVICES, OF_DEVICE_RATES)
            wrong = (
                "uses are not recorded so, and there would be no rate" if known else "no filter of this page"
            )
            yield Problem(field, values[0], wrong, ", ".join(allowed))
        elif field != "site" and len(values) > 1:
            yield Problem(field, "” and “".join(values), f"given {len(values)} times", "one value")


def _strange_sites(codes: Sequence[str], sites: Mapping[str, str]) -> Iterator[Problem]:
    for code in codes:
        if code not in sites:
            yield Problem("site", code, "not a site of yours", ", ".join(sites) or "none yet")


def _strange_codes(once: Mapping[str, str]) -> Iterator[Problem]:
    for field, name in CODED.items():
        code, words = once.get(field), word_list(name)
        if code is not None and (code not in words or (field == "situation" and code == CLOSED)):
            nearest = words.nearest(code[:_LONGEST_SHOWN])
            known = [f"{near} ({lowered(words[near].label)})" for near in nearest]
            such_as = f", such as {' or '.join(known)}" if known else ""
            yield Problem(field, code, "not in the list", f"a code of the list “{words.title}”{such_as}")


def _strange_words(once: Mapping[str, str]) -> Iterator[Problem]:
    for field, words in WORDS.items():
        if field in once and once[field] not in words:
            wrong = "no way of putting the figures together"
            yield Problem(field, once[field], wrong, ", ".join(words))


def _filters(
    days: Mapping[str, Span], once: Mapping[str, str], *, whole_months: bool
) -> tuple[Filters, tuple[Problem, ...]]:
    try:
        filters = Filters(
            since=days.get("since"),
            until=days.get("until"),
            situation=once.get("situation"),
            segment=once.get("segment"),
            contents=once.get("contents"),
            device_class=once.get("device_class"),
            wire_class=once.get("wire_class"),
        )
        if whole_months:
            filters.months()
    except PeriodRefused as refused:
        given = " to ".join(str(days[field]) for field in ("since", "until") if field in days)
        allowed = "whole months, written YYYY-MM, the first not after the last" if whole_months else _PERIOD
        return Filters(), (Problem("since and until", given, str(refused), allowed),)
    return filters, ()

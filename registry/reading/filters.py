"""What a list of cases is narrowed to, read from an address; nonsense is told in words and left out, the rest kept."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from registry.drawings.phrases import joined
from registry.partial_dates import span
from registry.public_codes import tidied
from registry.terms import CaseState
from registry.vocabulary import word_list

TEXT_LENGTH = 64

LABELS: Mapping[str, str] = {
    "q": "Case code or identifier",
    "site": "Site",
    "since": "From",
    "until": "To",
    "device": "Device",
    "situation": "Situation at first",
    "ending": "Ending",
    "state": "State",
    "status": "Record",
}
"""The filters by their name in the address, with their label on the page."""

LISTS: Mapping[str, str] = {
    "device": "device_class",
    "situation": "situation",
    "ending": "ending",
    "status": "record_status",
}
STATES: Mapping[str, str] = {
    CaseState.SUBMITTED: "Submitted",
    CaseState.LOCKED: "Locked",
    CaseState.WITHDRAWN: "Withdrawn",
}


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that can be chosen in a filter."""

    code: str
    label: str


@dataclass(frozen=True, slots=True)
class Problem:
    """A filter that was left out: which, what was typed, and what is allowed."""

    name: str
    label: str
    value: str
    allowed: str


@dataclass(frozen=True, slots=True)
class Filters:
    """What was asked, as typed, and what of it holds.

    `asked` has every filter that is not empty; `problems` those of them that hold nothing and are left out.
    """

    asked: Mapping[str, str] = field(default_factory=dict)
    since: datetime.date | None = None
    until: datetime.date | None = None
    after: tuple[datetime.date, str] | None = None
    problems: tuple[Problem, ...] = ()

    def holds(self, name: str) -> str:
        """The value of a filter that holds; `""` where it was not asked or is left out."""
        wrong = {problem.name for problem in self.problems}
        return "" if name in wrong else self.asked.get(name, "")

    @property
    def narrowing(self) -> bool:
        """Whether something beside the text is asked, so that the page shows its filters open."""
        return any(name != "q" for name in self.asked)

    def address(self, after: str = "") -> str:
        """The query of an address with these filters, from a case on where one is named."""
        return urlencode({**self.asked, **({"after": after} if after else {})})


def choices(name: str) -> list[Choice]:
    """What a filter by a word list or by state offers, in the order of the list."""
    if name == "state":
        return [Choice(code, label) for code, label in STATES.items()]
    left_out = {"closed"} if name == "situation" else set()
    terms = word_list(LISTS[name]).terms.values()
    return [Choice(term.code, term.label) for term in terms if term.code not in left_out]


def filters_from(typed: Mapping[str, str], sites: Iterable[Choice]) -> Filters:
    """The filters of an address; never an error: what cannot be is told as a problem."""
    asked = {name: value for name in LABELS if (value := typed.get(name, "").replace("\0", "").strip())}
    problems: list[Problem] = []
    allowed_sites = [site.code for site in sites]
    for name, value in asked.items():
        allowed = _wrong(name, value, allowed_sites)
        if allowed:
            problems.append(Problem(name, LABELS[name], _short(value), allowed))
    wrong = {problem.name for problem in problems}
    since = span(asked["since"]).earliest if "since" in asked and "since" not in wrong else None
    until = span(asked["until"]).latest if "until" in asked and "until" not in wrong else None
    if since and until and since > until:
        sentence = f"a day or month not before {asked['since']}, with which the period begins"
        problems.append(Problem("until", LABELS["until"], asked["until"], sentence))
        until = None
    after, lost = _after(typed.get("after", ""))
    return Filters(asked, since, until, after, (*problems, *lost))


def _wrong(name: str, value: str, sites: list[str]) -> str:
    """What is allowed, where the value is not; else nothing."""
    if name == "q":
        return f"at most {TEXT_LENGTH} letters" if len(value) > TEXT_LENGTH else ""
    if name in ("since", "until"):
        return _wrong_date(value)
    if name == "site":
        return "" if value in sites else f"one of your sites: {joined(sites)}"
    codes = [choice.code for choice in choices(name)]
    if value in codes:
        return ""
    near = (
        []
        if name == "state"
        else [c for c in word_list(LISTS[name]).nearest(value[:TEXT_LENGTH]) if c in codes]
    )
    if near:
        return f"one of the list; nearest are {joined(near)}"
    return f"one of {joined(codes)}" if len(codes) < 8 else "one of the list below"


def _wrong_date(value: str) -> str:
    try:
        span(value)
    except ValueError as refused:
        return f"a day such as 2026-03-14, or a month such as 2026-03 ({refused})"
    return "" if len(value) > len("2026") else "a day such as 2026-03-14, or a month such as 2026-03"


def _short(value: str) -> str:
    return value if len(value) <= TEXT_LENGTH else f"{value[:TEXT_LENGTH]}…"


def _after(typed: str) -> tuple[tuple[datetime.date, str] | None, list[Problem]]:
    if not typed:
        return None, []
    day, _, code = typed.partition("_")
    try:
        return (datetime.date.fromisoformat(day), tidied(code)), []
    except ValueError:
        problem = Problem(
            "after", "Page", _short(typed), "the mark of a page of this list; this is the first page"
        )
        return None, [problem]

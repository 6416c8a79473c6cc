"""Situations that have records, by the kind of device, and those that a page offers. No query."""

from __future__ import annotations

from collections.abc import Iterable

from analytics.answers import SituationRecord
from registry.drawings.phrases import named, raised
from registry.terms import CLOSED
from registry.vocabulary import word_list

_SITUATION_GROUPS = {
    "wire": "Guidewires",
    "stent": "Stents",
    "balloon": "Balloons",
    "atherectomy": "Atherectomy",
    "catheter": "Catheters",
    "retrieval": "Retrieval tools and filters",
    "other_device": "Other devices",
}


def situations_by_group(
    found: Iterable[SituationRecord],
) -> list[tuple[str, list[tuple[SituationRecord, str]]]]:
    """Situations with their labels under the kind of device, in the order of the word list."""
    records = {one.situation: one for one in found}
    words = word_list("situation")
    groups: dict[str, list[tuple[SituationRecord, str]]] = {}
    for code, term in words.terms.items():
        if code in records:
            title = _SITUATION_GROUPS.get(term.properties.get("group", ""), "Not in the list, or not known")
            groups.setdefault(title, []).append((records[code], label_of_situation(code)))
    return list(groups.items())


def situations_offered(
    groups: Iterable[tuple[str, list[tuple[SituationRecord, str]]]], chosen: str | None
) -> list[tuple[str, str]]:
    """Code and words of each situation that has records, and of the one chosen; of all where nothing is known."""
    found = [
        (one.situation, f"{label} ({one.complications:,})") for _, listed in groups for one, label in listed
    ]
    if chosen and chosen not in dict(found):
        found.append((chosen, f"{label_of_situation(chosen)} (0)"))
    codes = [code for code in word_list("situation").codes if code != CLOSED]
    return found or [(code, label_of_situation(code)) for code in codes]


def label_of_situation(code: str) -> str:
    """The situation in words, as a heading."""
    return raised(named("situation", code, "situation"))


def title_of(situation: str | None) -> str:
    """The situation as a heading, or that it is none of them alone."""
    return label_of_situation(situation) if situation else "All situations"

"""The word lists as data: reads the TOML files beside it into frozen terms and refuses doubled or broken ones.

No Django. Codes are never deleted, reused or rewritten: a term that is no longer offered is `retired`, and
`replaced_by` names its successor.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

VERSION = "2026.1"
UNKNOWN = "unknown"
OTHER = "other"

_FOLDER = Path(__file__).parent
_TERM_KEYS = {"code", "label", "also", "definition", "caution", "source", "retired", "replaced_by"}
_LIST_KEYS = {"title", "about", "source", "other", "term"}


@dataclass(frozen=True, slots=True)
class Term:
    """One word of a list: what is stored (`code`), what is shown (`label`), what it means and who says so."""

    code: str
    label: str
    definition: str
    source: str
    also: str = ""
    caution: str = ""
    retired: bool = False
    replaced_by: str = ""
    properties: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class WordList:
    """A closed list of terms by code, in the order in which they are offered."""

    name: str
    title: str
    about: str
    terms: Mapping[str, Term]

    def __contains__(self, code: object) -> bool:
        return code in self.terms

    def __getitem__(self, code: str) -> Term:
        return self.terms[code]

    @property
    def codes(self) -> tuple[str, ...]:
        """All codes, retired ones included."""
        return tuple(self.terms)

    def nearest(self, text: str, most: int = 3) -> list[str]:
        """Codes in use that look most like `text`, for an error message; may be empty."""
        in_use = [code for code, term in self.terms.items() if not term.retired]
        return difflib.get_close_matches(text.strip().lower(), in_use, n=most, cutoff=0.5)


class BrokenVocabulary(Exception):
    """A vocabulary file says something twice, or not what a term needs."""


def _term(raw: dict[str, Any], list_source: str, where: str) -> Term:
    for key in ("code", "label", "definition"):
        if not isinstance(raw.get(key), str) or not raw[key].strip():
            raise BrokenVocabulary(f"{where}: a term lacks its {key}: {raw}")
    source = raw.get("source", list_source)
    if not source:
        raise BrokenVocabulary(f"{where}: {raw['code']} has no source")
    extra = {key: value for key, value in raw.items() if key not in _TERM_KEYS}
    known = {key: raw[key] for key in _TERM_KEYS - {"source"} if key in raw}
    return Term(**known, source=source, properties=MappingProxyType(extra))


def _standard_terms(allows_other: bool) -> list[Term]:
    source = "common practice, no source"
    terms = [Term(UNKNOWN, "Not known", "Asked, and nobody could say.", source)]
    if allows_other:
        terms.insert(0, Term(OTHER, "Other", "None of the words fits; a note says what it was.", source))
    return terms


def _word_list(name: str, raw: dict[str, Any], where: str) -> WordList:
    if strange := set(raw) - _LIST_KEYS:
        raise BrokenVocabulary(f"{where}: {name} has {sorted(strange)}, which no list has")
    terms: dict[str, Term] = {}
    read = [_term(term, raw.get("source", ""), f"{where} {name}") for term in raw.get("term", [])]
    for term in read + _standard_terms(raw.get("other", True)):
        if term.code in terms:
            raise BrokenVocabulary(f"{where}: {name} has the code {term.code} twice")
        terms[term.code] = term
    labels = [term.label for term in terms.values() if not term.retired]
    if len(set(labels)) != len(labels):
        raise BrokenVocabulary(f"{where}: {name} has one label for two codes")
    for term in terms.values():
        if term.replaced_by and term.replaced_by not in terms:
            raise BrokenVocabulary(f"{where}: {name}.{term.code} is replaced by an unknown code")
    return WordList(name, raw["title"], raw.get("about", ""), MappingProxyType(terms))


@cache
def word_lists() -> Mapping[str, WordList]:
    """All lists by name; read once."""
    lists: dict[str, WordList] = {}
    for path in sorted(_FOLDER.glob("*.toml")):
        for name, raw in tomllib.loads(path.read_text(encoding="utf-8")).items():
            if name in lists:
                raise BrokenVocabulary(f"{path.name}: the list {name} stands in two files")
            lists[name] = _word_list(name, raw, path.name)
    return MappingProxyType(lists)


def word_list(name: str) -> WordList:
    """The list of that name; KeyError where there is none."""
    return word_lists()[name]

"""What each field of the case document is called on a page; may say nothing of what is allowed in it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from registry.vocabulary import word_list

_FILE = Path(__file__).with_name("labels.toml")


@dataclass(frozen=True, slots=True)
class Words:
    """The label of a field, and a hint where one helps."""

    label: str
    hint: str = ""


@cache
def _table() -> Mapping[str, Mapping[str, Words]]:
    read = tomllib.loads(_FILE.read_text(encoding="utf-8"))
    table = {
        thing: {
            name: Words(words) if isinstance(words, str) else Words(*words) for name, words in rows.items()
        }
        for thing, rows in read.items()
    }
    terms = [*word_list("risk_answer_criterion").terms.values(), *word_list("risk_measure").terms.values()]
    table["risk"] = {term.code: Words(term.label, term.definition) for term in terms}
    return table


def words_of(thing: str, field: str) -> Words:
    """The words of a field of an object, by the object's kind (`action`) and the field's name; KeyError without any."""
    table = _table()
    return table["all"].get(field) or table[thing][field]

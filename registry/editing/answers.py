"""What an operation hands back, and the words in which it is said. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from registry.canonical import Json
from registry.editing.places import Draft, Refused, found
from registry.field_kinds import Code, Field
from registry.terms import UNKNOWN
from registry.vocabulary import word_list


@dataclass(frozen=True, slots=True)
class Outcome:
    """The draft after an operation, and how the page goes on from there.

    `focus` is where the cursor goes: the name of a field, of a row, or the words of a button (`add rung C1` stands for
    the question that such buttons answer); empty: it stays. `said` is what is announced. `opens` is the row to be
    shown open, empty where all are to be closed, None where that does not change.
    """

    document: Draft
    focus: str = ""
    said: str = ""
    opens: str | None = None


def label(list_name: str, code: str | None) -> str:
    """The word shown for a code; the code itself where the list has it no more."""
    words = word_list(list_name)
    return words[code].label if code is not None and code in words else str(code)


def said_value(kind: Field, value: Json) -> str:
    """A value as it is announced."""
    if value == UNKNOWN:
        return "not known"
    return label(kind.list, value) if isinstance(kind, Code) else str(value)


def the_complication(draft: Draft, place: str) -> Draft:
    """The complication at a place such as `C1`; Refused for another kind of place."""
    row = found(draft, place)
    if row.thing is None or row.kind.name != "complication":
        raise Refused(f"{place} is no complication.")
    return row.thing

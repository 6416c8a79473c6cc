"""Whether a document has the shape of a case: each property known, each value of its kind and within hard limits."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

from registry import case_fields as fields
from registry.canonical import Json, printable, shortest, unwritable
from registry.findings import Finding, first
from registry.partial_dates import span
from registry.vocabulary import UNKNOWN, VERSION, WordList, word_list, word_lists

_CLOCK = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]", re.ASCII)
_MEDINA = re.compile(r"[01],[01],[01]")
YES_NO = ("yes", "no", UNKNOWN)
_KINDS = {
    dict: "an object",
    list: "a list",
    str: "text",
    bool: "true or false",
    int: "a number",
    Decimal: "a number",
}


def shape(value: Json, kind: fields.Field = fields.CASE, path: str = "") -> Iterator[Finding]:
    """The first findings of one value against its kind, all of them refusals; null reads as absent."""
    yield from first(_CHECKS[type(kind)](value, kind, path))


def _said(value: Json) -> str:
    return _KINDS.get(type(value), "null")


def _thing(value: Json, kind: fields.Thing, path: str) -> Iterator[Finding]:
    if not isinstance(value, dict):
        yield Finding(path, value, f"{_said(value)} in the place of an object", f"an object ({kind.name})")
        return
    for name in value:
        if name not in kind.fields:
            cut = name[: fields.NAME]
            yield Finding(f"{path}.{cut}" if path else cut, value[name], *_strange(name, kind))
    for name, inner in kind.fields.items():
        here = f"{path}.{name}" if path else name
        found = value.get(name)
        if found is not None:
            yield from _CHECKS[type(inner)](found, inner, here)
        elif inner.required:
            yield Finding(here, None, f"the {kind.name} needs it", _asked(inner))


def _strange(name: str, kind: fields.Thing) -> tuple[str, str]:
    near = difflib.get_close_matches(name, list(kind.fields), n=3, cutoff=0.5)
    return f"unknown property of {kind.name}", " or ".join(near) if near else ", ".join(kind.fields)


def _asked(kind: fields.Field) -> str:
    if isinstance(kind, fields.Code):
        return f"a code of the list {kind.list}, or unknown"
    return {fields.Date: "a date", fields.Position: "a whole number from 1"}.get(type(kind), "a value")


def _list(value: Json, kind: fields.List, path: str) -> Iterator[Finding]:
    if not isinstance(value, list):
        yield Finding(path, value, f"{_said(value)} in the place of a list", "a list")
        return
    if kind.limit is not None and len(value) > kind.limit:
        yield Finding(path, len(value), "too many items", f"at most {kind.limit}")
        return
    if kind.required and not value:
        yield Finding(path, value, "an empty list, but at least one is needed", "1 or more")
    for number, item in enumerate(value):
        here = f"{path}[{number}]"
        if item is None:
            yield Finding(here, None, "null inside a list", "an item, or leave it out")
        else:
            yield from _CHECKS[type(kind.item)](item, kind.item, here)


def _is_text(value: Json, path: str, limit: int) -> Iterator[Finding]:
    if not isinstance(value, str):
        yield Finding(path, value, f"{_said(value)} in the place of text", "text")
    elif len(value) > limit:
        yield Finding(path, value, f"{len(value)} characters", f"at most {limit}")
    elif unwritable(value):
        says = "text with a NUL or half a character (lone surrogate)"
        yield Finding(path, printable(value), says, "readable text")


def _text(value: Json, kind: fields.Text | fields.Identifier, path: str) -> Iterator[Finding]:
    yield from _is_text(value, path, kind.limit)


def _short(value: Json, limit: int, path: str) -> Iterator[Finding]:
    """A name of one line that is not blank."""
    wrong = list(_is_text(value, path, limit))
    if not wrong and not value.strip():
        wrong = [Finding(path, value, "blank", "a name, or leave it out")]
    elif not wrong and any(ord(letter) < 32 or ord(letter) == 127 for letter in value):
        wrong = [Finding(path, value, "a control character in a name", "one line of text")]
    yield from wrong


def _name(value: Json, kind: fields.Name, path: str) -> Iterator[Finding]:
    wrong = list(_short(value, kind.limit, path))
    if not wrong and kind.pattern:
        if not re.fullmatch(kind.pattern, value):
            wrong = [Finding(path, value, "not of its form", f"such as {VERSION}")]
        elif _numbers(value) > _numbers(VERSION):
            wrong = [Finding(path, value, "a vocabulary newer than this registry's", f"up to {VERSION}")]
    yield from wrong


def _numbers(version: str) -> list[int]:
    return [int(part) for part in version.split(".")]


def _person(value: Json, kind: fields.Person, path: str) -> Iterator[Finding]:
    yield from _short(value, fields.ID, path)


def _model(value: Json, kind: fields.Model, path: str) -> Iterator[Finding]:
    yield from _short(value, fields.NAME, path)


def _label(value: Json, kind: fields.Field, path: str) -> Iterator[Finding]:
    wrong = list(_short(value, fields.REF, path))
    if not wrong and value == UNKNOWN:
        wrong = [
            Finding(path, value, "a reference is never unknown", "the ref of an object, or leave it out")
        ]
    yield from wrong


def _code(value: Json, kind: fields.Code, path: str) -> Iterator[Finding]:
    yield from _of_list(value, word_list(kind.list), kind.not_here, path)


def _of_list(value: Json, words: WordList, not_here: tuple[str, ...], path: str) -> Iterator[Finding]:
    if not isinstance(value, str):
        yield Finding(
            path, value, f"{_said(value)} in the place of a code", f"a code of {words.name}, as text"
        )
    elif value not in words:
        yield Finding(path, value, f"unknown code of {words.name}", _offered(words, value))
    elif words[value].retired:
        term = words[value]
        replacement = term.replaced_by or _offered(words, value)
        yield Finding(path, value, f"a retired code of {words.name}", f"replaced by {replacement}")
    elif value in not_here:
        yield Finding(path, value, f"the code {value} makes no sense here", f"another code of {words.name}")


def _offered(words: WordList, value: str) -> str:
    near = words.nearest(value)
    if near:
        return f"nearest codes: {', '.join(near)}"
    in_use = [code for code, term in words.terms.items() if not term.retired]
    few = ", ".join(in_use[:12])
    return f"codes of {words.name}: {few}" + (f" and {len(in_use) - 12} more" if len(in_use) > 12 else "")


def in_use(words: WordList, code: str) -> bool:
    """Whether the list has the code and still offers it."""
    return code in words and not words[code].retired


def _grade(value: Json, kind: fields.Grade, path: str) -> Iterator[Finding]:
    """Only its form: whether the scale beside it has the grade is a rule of two fields."""
    if not isinstance(value, str):
        yield Finding(path, value, f"{_said(value)} in the place of a grade", "a grade of its scale, as text")
    elif not any(in_use(words, value) for name, words in word_lists().items() if name.startswith("grade_")):
        yield Finding(path, value, "no scale has this grade", "a grade of the scale beside it")


def _yes_no(value: Json, kind: fields.YesNo, path: str) -> Iterator[Finding]:
    if not isinstance(value, str) or value not in YES_NO:
        yield Finding(path, value, "neither yes nor no", ", ".join(YES_NO))


def is_number(value: Json) -> bool:
    """Whether the value is a JSON number (true and false are not)."""
    return isinstance(value, int | Decimal) and not isinstance(value, bool)


def within(value: int | Decimal, limits: fields.Limits) -> bool:
    """Whether a number lies within limits as they are written: 0.97 is not above 0.97, whatever a float holds."""
    low, high = limits
    return Decimal(str(low)) <= value <= Decimal(str(high))


def _number(value: Json, kind: fields.Number, path: str) -> Iterator[Finding]:
    if kind.unknown and value == UNKNOWN:
        return
    low, high = kind.hard
    whole = "whole " if kind.whole else ""
    unit = f" ({kind.unit})" if kind.unit else ""
    or_unknown = ', or "unknown"' if kind.unknown else ""
    allowed = f"a {whole}number from {low:g} to {high:.12g}{unit}{or_unknown}"
    if not is_number(value):
        yield Finding(path, value, f"{_said(value)} in the place of a number", allowed)
    elif not within(value, kind.hard):
        yield Finding(path, value, "outside what is possible", allowed)
    elif kind.whole and not isinstance(shortest(Decimal(value)), int):
        yield Finding(path, value, "not a whole number", allowed)


def _position(value: Json, kind: fields.Position, path: str) -> Iterator[Finding]:
    allowed = f"a whole number from {kind.lowest} to {fields.ACTIONS}, never unknown"
    if not is_number(value) or value != int(value) or not kind.lowest <= value <= fields.ACTIONS:
        yield Finding(path, value, "not a position", allowed)


def _date(value: Json, kind: fields.Date, path: str) -> Iterator[Finding]:
    if not isinstance(value, str):
        yield Finding(
            path, value, f"{_said(value)} in the place of a date", "YYYY-MM-DD, YYYY-MM or YYYY, as text"
        )
        return
    try:
        span(value)
    except ValueError as error:
        yield Finding(path, value, str(error), "YYYY-MM-DD, YYYY-MM or YYYY")


def _clock(value: Json, kind: fields.Clock, path: str) -> Iterator[Finding]:
    if not isinstance(value, str) or not _CLOCK.fullmatch(value):
        yield Finding(path, value, "not a time of day", "HH:MM from 00:00 to 23:59")


def _medina(value: Json, kind: fields.Medina, path: str) -> Iterator[Finding]:
    if value == UNKNOWN:
        return
    if not isinstance(value, str) or not _MEDINA.fullmatch(value):
        yield Finding(path, value, "not a Medina class", 'three of 0 or 1 as text, such as "1,1,0"')
    elif value == "0,0,0":
        yield Finding(path, value, "0,0,0 is not a lesion", 'at least one 1, such as "0,1,0"')


_CHECKS: dict[type[fields.Field], Callable[[Json, Any, str], Iterator[Finding]]] = {
    fields.Thing: _thing,
    fields.List: _list,
    fields.Text: _text,
    fields.Identifier: _text,
    fields.Name: _name,
    fields.Person: _person,
    fields.Model: _model,
    fields.Label: _label,
    fields.Reference: _label,
    fields.Code: _code,
    fields.Grade: _grade,
    fields.YesNo: _yes_no,
    fields.Number: _number,
    fields.Position: _position,
    fields.Date: _date,
    fields.Clock: _clock,
    fields.Medina: _medina,
}

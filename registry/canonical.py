"""Reading and writing case documents as JSON without ever making a float, and their one canonical form. No Django.

Numbers are at most nine digits and three decimals, kept exactly: whole ones as `int`, others as `Decimal`.
The canonical form has no nulls and no empty objects, keys by code point, no spaces, shortest decimals, text as given,
actions by position.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, NoReturn

Json = Any
"""None, str, int, Decimal, list or dict of them: what `read` returns and `write` takes."""

_NUMBER = re.compile(r"-?(0|[1-9][0-9]{0,8})([.][0-9]{1,3})?")
_UNWRITABLE = re.compile("[\x00\ud800-\udfff]")
_UNPRINTABLE = re.compile("[\x00-\x1f\x7f\ud800-\udfff]")
KEPT_WHEN_EMPTY = ("death", "surgery")
"""Objects whose mere presence says something; empty they are refused by the checks, not dropped."""


class NotReadable(ValueError):
    """The text is not JSON as a case document allows it; the message says what and where."""


def read(text: str | bytes) -> Json:
    """The value of a JSON text, with whole numbers as `int` and others as `Decimal`.

    Raises NotReadable for what is not UTF-8 or not JSON, for doubled keys, for numbers in another form than
    nine digits and three decimals (so also NaN and 1e3), and for nesting beyond what any document has.
    """
    if isinstance(text, bytes):
        try:
            text = text.decode("utf-8")
        except UnicodeDecodeError as error:
            raise NotReadable(f"not UTF-8 text: byte {error.start + 1} cannot be read") from None
    try:
        return _DECODER.decode(text.removeprefix("\ufeff"))
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise NotReadable(f"not JSON: {error.msg} at {place}") from None
    except RecursionError:
        raise NotReadable("nested deeper than the 12 levels that a case document may have") from None


def _pairs(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    members = dict(pairs)
    if len(members) != len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise NotReadable(f"the key {shown(key)} stands twice in one object")
            seen.add(key)
    return members


def _number(text: str) -> int | Decimal:
    if not _NUMBER.fullmatch(text):
        raise NotReadable(
            f"the number {text[:40]} is not of at most 9 digits and 3 decimals, without exponent"
        )
    number = shortest(Decimal(text))
    if number == 0 and text.startswith("-"):
        raise NotReadable("the number -0 is not allowed; write 0")
    return number


def _constant(text: str) -> NoReturn:
    raise NotReadable(f"{text} is not a number that a case document may hold")


_DECODER = json.JSONDecoder(
    parse_float=_number, parse_int=_number, parse_constant=_constant, object_pairs_hook=_pairs
)


def shortest(number: Decimal) -> int | Decimal:
    """The same number as `int` where it is whole, else without trailing zeros."""
    return int(number) if number == number.to_integral_value() else number.normalize()


def shown(value: Json, most: int = 60) -> str:
    """A value as JSON for an error message, cut to `most` characters."""
    try:
        text = write(value)
    except RecursionError:  # read could go as deep, from where it was called
        text = "nested too deep to be shown"
    return text if len(text) <= most else text[: most - 1] + "…"


def unwritable(text: str) -> bool:
    """Whether a text holds NUL or a lone surrogate, which no database and no UTF-8 file can keep."""
    return _UNWRITABLE.search(text) is not None


def printable(text: str) -> str:
    """The text with what cannot be written, or would break the line, replaced, for a message about it."""
    return _UNPRINTABLE.sub("\ufffd", text)


def write(value: Json) -> str:
    """Canonical JSON of a value that is in canonical form already (see `canonical`)."""
    parts: list[str] = []
    _write(value, parts.append)
    return "".join(parts)


def _write(value: Json, put: Callable[[str], None]) -> None:
    if isinstance(value, str):
        put(_text(value))
    elif isinstance(value, dict):
        comma = "{"
        for key in sorted(value):
            put(f"{comma}{_text(key)}:")
            _write(value[key], put)
            comma = ","
        put("}" if value else "{}")
    elif isinstance(value, list):
        comma = "["
        for item in value:
            put(comma)
            _write(item, put)
            comma = ","
        put("]" if value else "[]")
    elif isinstance(value, Decimal):
        put(format(value, "f"))
    elif value is None:
        put("null")
    else:
        put(("true" if value else "false") if isinstance(value, bool) else str(value))


_text = json.encoder.encode_basestring
"""A text in quotes with no more escaped than JSON demands."""


def canonical(document: Mapping[str, Json]) -> dict[str, Json]:
    """A case document without nulls and empty objects, its actions by position; the input is left alone.

    Objects in lists stay though empty, since their place says something; so do an empty `death` and `surgery`,
    which the checks refuse.
    """
    return {key: kept for key, value in document.items() if (kept := _kept(key, value)) is not None}


def _kept(key: str, value: Json) -> Json:
    if isinstance(value, dict):
        members = canonical(value)
        return members if members or key in KEPT_WHEN_EMPTY else None
    if isinstance(value, list):
        items = [canonical(item) if isinstance(item, dict) else item for item in value]
        return sorted(items, key=lambda action: action["position"]) if key == "actions" else items
    return value

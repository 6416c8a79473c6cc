"""The published JSON Schema (draft 2020-12) of the case document, made from the table of fields and the word lists.

It says of each single value what `shape` says, as far as JSON Schema can. Left to the reader of documents: doubled
keys, how a number is written (nine digits, three decimals, no exponent: `multipleOf` is not exact where numbers are
floats), that a day exists in its month, half characters, a vocabulary newer than the registry's; left to `rules`:
whatever joins two fields.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from registry import case_fields as fields
from registry.documents.shape import YES_NO
from registry.vocabulary import OTHER, UNKNOWN, WordList, word_list, word_lists

Schema = dict[str, Any]
Definitions = dict[str, Schema]

PUBLISHED = Path(__file__).parent.parent / "schema" / "case.schema.json"
"""The file that people outside get; a test holds it equal to `schema_text`."""

_NO_NUL = r"^[^\u0000]*$"
_CONTROL = r"\u0000-\u001f\u007f"
_ONE_LINE = rf"^[^\S{_CONTROL}]*[^\s{_CONTROL}][^{_CONTROL}]*$"
_YEAR, _MONTH, _DAY = "(19|20|21)[0-9]{2}", "(0[1-9]|1[0-2])", "(0[1-9]|[12][0-9]|3[01])"
_PARTIAL_DATE = f"^{_YEAR}(-{_MONTH}(-{_DAY})?)?$"


def case_schema() -> Schema:
    """The schema as plain JSON values; each thing and each word list is one of its `$defs`."""
    definitions: Definitions = {}
    case = _object(fields.CASE, definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Case document",
        "description": (
            f"One case of device complications, schema version {fields.SCHEMA_VERSION}. Absent or null: not recorded. "
            '"unknown": asked and not known. An absent list is not recorded, an empty one is none. "other" needs the '
            "note of its object. Numbers have at most nine digits and three decimals, without exponent."
        ),
        **case,
        "$defs": dict(sorted(definitions.items())),
    }


def schema_text() -> str:
    """The schema as the file that is published."""
    return json.dumps(case_schema(), ensure_ascii=False, indent=1) + "\n"


def _object(kind: fields.Thing, definitions: Definitions) -> Schema:
    properties = {}
    for name, inner in kind.fields.items():
        value = _MADE[type(inner)](inner, definitions)
        properties[name] = value if inner.required else {"anyOf": [value, {"type": "null"}]}
        properties[name].update(_said_of_criterion(kind, name))
    made: Schema = {"type": "object", "properties": properties, "additionalProperties": False}
    needed = [name for name, inner in kind.fields.items() if inner.required]
    return made | ({"required": needed} if needed else {})


def _said_of_criterion(kind: fields.Thing, name: str) -> Schema:
    """Title and description of a risk criterion, whose properties are themselves words of a list."""
    if kind.name == "risk":
        for words in (word_list("risk_answer_criterion"), word_list("risk_measure")):
            if name in words:
                return {"title": words[name].label, "description": words[name].definition}
    return {}


def _defined(name: str, made: Schema, definitions: Definitions) -> Schema:
    definitions[name] = made
    return {"$ref": f"#/$defs/{name}"}


def _thing(kind: fields.Thing, definitions: Definitions) -> Schema:
    return _defined(kind.name, _object(kind, definitions), definitions)


def _list(kind: fields.List, definitions: Definitions) -> Schema:
    made: Schema = {"type": "array", "items": _MADE[type(kind.item)](kind.item, definitions)}
    if kind.required:
        made["minItems"] = 1
    if kind.limit is not None:
        made["maxItems"] = kind.limit
    return made


def _code(kind: fields.Code, definitions: Definitions) -> Schema:
    words = word_list(kind.list)
    made = _defined(f"{kind.list}_code", _enumeration(words), definitions)
    return made | ({"not": {"enum": list(kind.not_here)}} if kind.not_here else {})


def _enumeration(words: WordList) -> Schema:
    return {"title": words.title, "description": words.about, "enum": _in_use(words)}


def _in_use(words: WordList) -> list[str]:
    return [code for code, term in words.terms.items() if not term.retired]


def _grade(kind: fields.Grade, definitions: Definitions) -> Schema:
    return _defined("grade", _any_grade(), definitions)


def _any_grade() -> Schema:
    scales = [words for name, words in word_lists().items() if name.startswith("grade_")]
    codes = dict.fromkeys(code for words in scales for code in _in_use(words) if code not in (OTHER, UNKNOWN))
    return {
        "title": "Grade",
        "description": "A grade of the scale that stands beside it in `scale`.",
        "enum": [*codes, OTHER, UNKNOWN],
    }


def _number(kind: fields.Number, definitions: Definitions) -> Schema:
    low, high = kind.hard
    made: Schema = {"type": "integer" if kind.whole else "number", "minimum": low, "maximum": high}
    if kind.unit:
        made["description"] = f"Unit: {kind.unit}."
    return {"anyOf": [made, {"const": UNKNOWN}]} if kind.unknown else made


def _position(kind: fields.Position, definitions: Definitions) -> Schema:
    return {"type": "integer", "minimum": kind.lowest, "maximum": fields.ACTIONS}


def _text(kind: fields.Text | fields.Identifier, definitions: Definitions) -> Schema:
    return {"type": "string", "maxLength": kind.limit, "pattern": _NO_NUL}


def _one_line(limit: int) -> Schema:
    return {"type": "string", "maxLength": limit, "pattern": _ONE_LINE}


def _name(kind: fields.Name, definitions: Definitions) -> Schema:
    made = _one_line(kind.limit)
    return made | ({"pattern": f"^{kind.pattern}$"} if kind.pattern else {})


def _person(kind: fields.Person, definitions: Definitions) -> Schema:
    said = {"description": "A staff code of the site, or unknown."}
    return _defined("person", _one_line(fields.ID) | said, definitions)


def _model(kind: fields.Model, definitions: Definitions) -> Schema:
    said = {"description": "The catalogue code of a device model, or unknown, which reads as no model."}
    return _defined("model", _one_line(fields.NAME) | said, definitions)


def _label(kind: fields.Label, definitions: Definitions) -> Schema:
    said = {"description": "A name by which this object is referred to within the document; never unknown."}
    return _defined("label", _one_line(fields.REF) | {"not": {"const": UNKNOWN}} | said, definitions)


def _reference(kind: fields.Reference, definitions: Definitions) -> Schema:
    said = {"description": f"The ref of a {kind.to} of this document; never unknown."}
    made = _one_line(fields.REF) | {"not": {"const": UNKNOWN}} | said
    return _defined(f"{kind.to}_reference", made, definitions)


def _date(kind: fields.Date, definitions: Definitions) -> Schema:
    when = "may lie in the future" if kind.future else "never in the future"
    said = {"description": f"YYYY-MM-DD, YYYY-MM or YYYY, known that far; {when}."}
    made = {"type": "string", "pattern": _PARTIAL_DATE} | said
    return _defined("planned_date" if kind.future else "date", made, definitions)


def _yes_no(kind: fields.YesNo, definitions: Definitions) -> Schema:
    return {"enum": list(YES_NO)}


def _clock(kind: fields.Clock, definitions: Definitions) -> Schema:
    return {"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$"}


def _medina(kind: fields.Medina, definitions: Definitions) -> Schema:
    classes = [f"{main},{distal},{side}" for main in "01" for distal in "01" for side in "01"]
    return {
        "description": "1 for narrowed: proximal main, distal main, side branch; 0,0,0 is not a lesion.",
        "enum": [*classes[1:], UNKNOWN],
    }


_MADE: dict[type[fields.Field], Callable[[Any, Definitions], Schema]] = {
    fields.Thing: _thing,
    fields.List: _list,
    fields.Text: _text,
    fields.Identifier: _text,
    fields.Name: _name,
    fields.Person: _person,
    fields.Model: _model,
    fields.Label: _label,
    fields.Reference: _reference,
    fields.Code: _code,
    fields.Grade: _grade,
    fields.YesNo: _yes_no,
    fields.Number: _number,
    fields.Position: _position,
    fields.Date: _date,
    fields.Clock: _clock,
    fields.Medina: _medina,
}

"""The de-identified view of a case: all that pages, slides and releases outside the record may know of it. No Django.

It is built field by field from the clear document by `field_policy`; what is not classified there is left out, and
the sealed part is never asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from registry import case_fields as fields
from registry.canonical import Json
from registry.deidentify.coarsening import BANDED, coarser
from registry.deidentify.dates import days_from, year_of
from registry.deidentify.field_policy import DOCUMENT
from registry.deidentify.pseudonyms import Pseudonyms
from registry.deidentify.rules import Form, Rule, Treatment
from registry.partial_dates import Span, span
from registry.terms import UNKNOWN

Released = Any
"""Text, whole number or decimal, or a frozen mapping or tuple of them."""

LETTERS = {"lesion": "L", "complication": "C", "injury": "I", "fragment": "F"}
"""What the new refs of each kind of object begin with."""

_REFERRED = {"lesion": "lesions", "complication": "complications", "injury": "injuries"}


@dataclass(frozen=True, slots=True)
class DeidentifiedCase:
    """A case as it may leave: its quasi-identifiers, and the rest in the form of the document, frozen throughout.

    Fields that were made coarser or turned into days have another name (`released_name`). In the quasi-identifiers
    what is not recorded reads as `unknown`.
    """

    pseudonym: str
    site: str
    year: int
    age_band: str
    sex: str
    device_class: str
    content: Mapping[str, Released]

    @property
    def quasi_identifiers(self) -> tuple[str, str, str, str, str]:
        """Site, year, age band, sex and class of the first complication's device: see `QUASI_IDENTIFIERS`."""
        return (self.site, str(self.year), self.age_band, self.sex, self.device_class)


QUASI_IDENTIFIERS = ("site", "year", "age_band", "sex", "device_class")


@dataclass(frozen=True, slots=True)
class _Frame:
    """What the fields of one case are read against."""

    procedure: Span
    refs: Mapping[tuple[str, str], str]
    site: str


def deidentified(clear: Mapping[str, Json], *, code: str, pseudonyms: Pseudonyms) -> DeidentifiedCase:
    """The view of a case from its clear document and public code, under the pseudonyms of one release."""
    procedure = span(clear["procedure"]["date"])
    site = pseudonyms.of_site(clear["site"])
    content = _thing(clear, _CASE, _Frame(procedure, _refs(clear), site))
    patient = content.get("patient", {})
    return DeidentifiedCase(
        pseudonym=pseudonyms.of_case(code),
        site=site,
        year=year_of(procedure),
        age_band=patient.get("age_band", UNKNOWN),
        sex=patient.get("sex", UNKNOWN),
        device_class=content["complications"][0]["device"].get("class", UNKNOWN),
        content=content,
    )


def released_name(name: str, rule: Rule) -> str:
    """How a field is called after its rule: a band, a day or a year is not what the field was."""
    if rule.treatment is Treatment.SHIFT:
        return f"{name}_day"
    if rule.form is Form.YEAR:
        return "year"
    return f"{name}_band" if rule.form in BANDED else name


def _refs(clear: Mapping[str, Json]) -> dict[tuple[str, str], str]:
    """New refs by kind of object and old ref: numbered by their place in the document."""
    return {
        (kind, item["ref"]): f"{LETTERS[kind]}{number}"
        for kind, holder in _REFERRED.items()
        for number, item in enumerate(clear.get(holder) or [], start=1)
        if item.get("ref") is not None
    }


@dataclass(frozen=True, slots=True)
class _LetGo:
    """A field that the policy lets go: how it is called in the view, what it is, its rule, and what is inside it."""

    name: str
    kind: fields.Field
    rule: Rule
    inside: Mapping[str, _LetGo]


def _let_go(kind: fields.Thing, path: str = "") -> dict[str, _LetGo]:
    """The fields of an object that may leave, by their name in the document; an unclassified one is not there."""
    found = {}
    for name, inner in kind.fields.items():
        here = f"{path}.{name}" if path else name
        rule = DOCUMENT.get(here)
        if rule is None or rule.treatment is Treatment.DROP:
            continue
        item = inner.item if isinstance(inner, fields.List) else inner
        below = here if item is inner else f"{here}[]"
        inside = _let_go(item, below) if isinstance(item, fields.Thing) else {}
        found[name] = _LetGo(released_name(name, rule), item, rule, inside)
    return found


_CASE = _let_go(fields.CASE)


def _thing(
    thing: Mapping[str, Json], let_go: Mapping[str, _LetGo], frame: _Frame, ref: str = ""
) -> Mapping[str, Released]:
    """An object by the policy of its fields; `ref` is its new one where it has one."""
    released: dict[str, Released] = {"ref": ref} if ref and "ref" in let_go else {}
    for name, found in thing.items():
        field = let_go.get(name)
        if field is None or found is None or isinstance(field.kind, fields.Label):
            continue
        released[field.name] = (
            tuple(_item(item, field, frame, number) for number, item in enumerate(found, start=1))
            if isinstance(found, list)
            else _item(found, field, frame)
        )
    return MappingProxyType(released)


def _item(found: Json, field: _LetGo, frame: _Frame, number: int = 0) -> Released:
    """A value, or an object at its place in a list."""
    if isinstance(field.kind, fields.Thing):
        letter = LETTERS.get(field.kind.name)
        return _thing(found, field.inside, frame, f"{letter}{number}" if letter else "")
    return _value(found, field.kind, field.rule, frame)


def _value(found: Json, kind: fields.Field, rule: Rule, frame: _Frame) -> Released:
    if rule.treatment is Treatment.KEEP:
        return found
    if rule.treatment is Treatment.SHIFT:
        return days_from(frame.procedure, found)
    match rule.form:
        case Form.PSEUDONYM:
            return frame.site
        case Form.YEAR:
            return year_of(span(found))
        case Form.NUMBERED:
            assert isinstance(kind, fields.Reference)
            return frame.refs[kind.to, found]
    assert rule.form is not None
    return coarser(rule.form, found)

"""The de-identified view of a case: all that pages, slides and releases outside the record may know of it. No Django.

It is built field by field from the clear document by `field_policy`; what is not classified there is left out, and
the sealed part is never asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, NamedTuple

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
READ_FROM = frozenset(
    {"site", "procedure.date", "patient.age", "patient.sex", "complications[].device.class"}
)
"""The fields of the document that say the quasi-identifiers."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """What the fields of one case are read against."""

    procedure: Span
    refs: Mapping[tuple[str, str], str]
    site: str


_Made = Callable[[Json, _Frame], Released]
"""Makes of a value in the document what leaves of it."""


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


class _LetGo(NamedTuple):
    """A field that the policy lets go: how it is called in the view, and what is made of it; None is as it is."""

    name: str
    made: _Made | None


def _let_go(kind: fields.Thing, path: str = "") -> dict[str, _LetGo]:
    """The fields of an object that may leave, by their name in the document; an unclassified one is not there.

    The policy is asked here, once, and not again for every case. Refs are given by place, whatever they were.
    """
    found = {}
    for name, inner in kind.fields.items():
        here = f"{path}.{name}" if path else name
        rule = DOCUMENT.get(here)
        if rule is not None and rule.treatment is not Treatment.DROP and not isinstance(inner, fields.Label):
            found[name] = _LetGo(released_name(name, rule), _made(inner, rule, here))
    return found


def _made(kind: fields.Field, rule: Rule, path: str) -> _Made | None:
    """What a field becomes under its rule."""
    if isinstance(kind, fields.Thing):
        inside = _let_go(kind, path)
        return lambda found, frame: _thing(found, inside, frame)
    if not isinstance(kind, fields.List):
        return _value(kind, rule)
    if isinstance(kind.item, fields.Thing):
        return _objects(kind.item, f"{path}[]")
    single = _value(kind.item, rule)
    if single is None:
        return lambda found, frame: tuple(found)
    return lambda found, frame: tuple([single(item, frame) for item in found])


def _objects(kind: fields.Thing, path: str) -> _Made:
    """A list of objects, each with its new ref where refs may leave."""
    inside = _let_go(kind, path)
    ref = DOCUMENT.get(f"{path}.ref")
    letter = LETTERS[kind.name] if ref is not None and ref.treatment is not Treatment.DROP else ""

    def made(found: Json, frame: _Frame) -> Released:
        numbered = enumerate(found, start=1)
        return tuple(
            [_thing(item, inside, frame, f"{letter}{number}" if letter else "") for number, item in numbered]
        )

    return made


def _value(kind: fields.Field, rule: Rule) -> _Made | None:
    """What a single value becomes under a rule."""
    if rule.treatment is Treatment.KEEP:
        return None
    if rule.treatment is Treatment.SHIFT:
        return lambda found, frame: days_from(frame.procedure, found)
    form = rule.form
    match form:
        case Form.PSEUDONYM:
            return lambda found, frame: frame.site
        case Form.YEAR:
            return lambda found, frame: year_of(span(found))
        case Form.NUMBERED:
            assert isinstance(kind, fields.Reference)
            to = kind.to
            return lambda found, frame: frame.refs[to, found]
    assert form is not None
    return lambda found, frame: coarser(form, found)


def _thing(
    thing: Mapping[str, Json], let_go: Mapping[str, _LetGo], frame: _Frame, ref: str = ""
) -> Mapping[str, Released]:
    """An object by the policy of its fields; `ref` is its new one where it has one."""
    released: dict[str, Released] = {"ref": ref} if ref else {}
    for name, found in thing.items():
        field = let_go.get(name)
        if field is not None and found is not None:
            called, made = field
            released[called] = found if made is None else made(found, frame)
    return MappingProxyType(released)


_CASE = _let_go(fields.CASE)

"""The kinds of field that the case document is made of. No Django.

`case_fields` says which field is of which kind; checks, schema, rows and de-identification act by kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

TEXT = 20_000
NAME = 200

Limits = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Field:
    """What all fields share: whether it must be there."""

    required: bool = field(default=False, kw_only=True)


@dataclass(frozen=True, slots=True)
class Code(Field):
    """A word of a list; `unknown` is always one. `not_here` are codes of the list that make no sense in this place."""

    list: str
    not_here: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Grade(Field):
    """A grade of the scale that stands beside it in `scale`."""


@dataclass(frozen=True, slots=True)
class YesNo(Field):
    """`yes`, `no` or `unknown`."""


@dataclass(frozen=True, slots=True)
class Number(Field):
    """A number within hard limits, or `unknown`; `usual` limits are asked about."""

    hard: Limits
    usual: Limits | None = None
    whole: bool = False
    unit: str = ""
    unknown: bool = True


@dataclass(frozen=True, slots=True)
class Text(Field):
    """Free text: sealed, since it may say anything about anybody."""

    limit: int = TEXT


@dataclass(frozen=True, slots=True)
class Identifier(Field):
    """A text that points at one patient or one device: sealed like free text, but never searched for words."""

    limit: int = NAME


@dataclass(frozen=True, slots=True)
class Name(Field):
    """A short plain text, such as a case's id, a lot or a scale's version."""

    limit: int = NAME
    pattern: str = ""


@dataclass(frozen=True, slots=True)
class Person(Field):
    """A staff code of the site, made on first use, or `unknown`."""


@dataclass(frozen=True, slots=True)
class Model(Field):
    """A device model by its catalogue code, or `unknown`, which reads as no model."""


@dataclass(frozen=True, slots=True)
class Date(Field):
    """A day, a month or a year; `future` only for what is planned or due."""

    future: bool = False


@dataclass(frozen=True, slots=True)
class Clock(Field):
    """A time of day, HH:MM, as the site's clock shows it."""


@dataclass(frozen=True, slots=True)
class Label(Field):
    """The `ref` by which an object is named within its document."""


@dataclass(frozen=True, slots=True)
class Reference(Field):
    """The `ref` of a lesion, complication or injury of the same document; never unknown."""

    to: str


@dataclass(frozen=True, slots=True)
class Position(Field):
    """A whole number from `lowest` to the number of actions; never unknown."""

    lowest: int = 0


@dataclass(frozen=True, slots=True)
class Medina(Field):
    """Three of 0 or 1 as text: proximal main, distal main, side branch."""


@dataclass(frozen=True, slots=True)
class Thing(Field):
    """An object with named fields."""

    name: str
    fields: Mapping[str, Field]

    def __post_init__(self) -> None:
        object.__setattr__(self, "fields", MappingProxyType({**self.fields, "note": Text()}))


@dataclass(frozen=True, slots=True)
class List(Field):
    """A list of things, words or numbers, of at most `limit` items where one is set."""

    item: Field
    limit: int | None = None

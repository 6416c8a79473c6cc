"""Going through a document by the table of fields, without regard to what is asked of each place."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from registry import case_fields as fields
from registry.canonical import Json

PlacedThing = tuple[str, fields.Thing, Mapping[str, Json]]
"""The path of an object, its kind and itself."""
PlacedValue = tuple[str, fields.Field, Json]
"""The path of a value that is no object or list, its kind and itself."""


@dataclass(frozen=True, slots=True)
class Survey:
    """What stands where in a document: every object, outer before inner, and every value by its kind."""

    things: list[PlacedThing] = field(default_factory=list)
    values: dict[type[fields.Field], list[PlacedValue]] = field(default_factory=lambda: defaultdict(list))


def survey(document: Mapping[str, Json]) -> Survey:
    """Go through a document of the right shape once; nulls are left out, items of lists come one by one."""
    found = Survey()
    _visit(document, fields.CASE, "", found)
    return found


def _visit(thing: Mapping[str, Json], kind: fields.Thing, path: str, found: Survey) -> None:
    found.things.append((path, kind, thing))
    prefix = f"{path}." if path else ""
    for name, value in thing.items():
        inner = kind.fields.get(name)
        if value is None or inner is None:  # a clear document has a gtin beside the fields of the table
            continue
        here = prefix + name
        if isinstance(inner, fields.Thing):
            _visit(value, inner, here, found)
        elif isinstance(inner, fields.List):
            item = inner.item
            for number, one in enumerate(value):
                if isinstance(item, fields.Thing):
                    _visit(one, item, f"{here}[{number}]", found)
                else:
                    found.values[type(item)].append((f"{here}[{number}]", item, one))
        else:
            found.values[type(inner)].append((here, inner, value))

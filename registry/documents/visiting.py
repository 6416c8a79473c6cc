"""Going through a document by the table of fields, without regard to what is asked of each place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from registry import case_fields as fields
from registry.canonical import Json


def things(
    value: Mapping[str, Json], kind: fields.Thing = fields.CASE, path: str = ""
) -> Iterator[tuple[str, fields.Thing, Mapping[str, Json]]]:
    """Every object of a document of the right shape: its path, its kind and itself, outer before inner."""
    yield path, kind, value
    for name, inner in kind.fields.items():
        found = value.get(name)
        here = f"{path}.{name}" if path else name
        if found is None:
            continue
        if isinstance(inner, fields.Thing):
            yield from things(found, inner, here)
        elif isinstance(inner, fields.List) and isinstance(inner.item, fields.Thing):
            for number, item in enumerate(found):
                yield from things(item, inner.item, f"{here}[{number}]")


def values_of(
    document: Mapping[str, Json], wanted: type[fields.Field] | tuple[type[fields.Field], ...]
) -> Iterator[tuple[str, fields.Field, Json]]:
    """Every value whose kind is one of those wanted, items of lists one by one, nulls left out."""
    for path, kind, thing in things(document):
        for name, inner in kind.fields.items():
            found = thing.get(name)
            if found is None:
                continue
            here = f"{path}.{name}" if path else name
            if isinstance(inner, wanted):
                yield here, inner, found
            elif isinstance(inner, fields.List) and isinstance(inner.item, wanted):
                for number, item in enumerate(found):
                    yield f"{here}[{number}]", inner.item, item

"""Which fields a browser may keep on the device while there is no network: a list from the field policy. Pure."""

from __future__ import annotations

import re
from functools import cache

from registry.deidentify.field_policy import DOCUMENT
from registry.deidentify.rules import Treatment
from registry.editing.places import CASE, ROWS

CONTROLS = frozenset({"number", "choice", "choices"})
"""Words of a list and numbers; never a line that is typed, a date or a time of day."""
_NEVER = ("procedure.staff[]",)
"""People, though only their role is asked by a list."""
_STEP = re.compile(r"([A-Za-z_]+?)[1-9][0-9]*", re.ASCII)
_LIST_OF_STEP = {rows.step: rows.list for rows in ROWS}


def may_stay_on_the_device(place: str, field: str, control: str) -> bool:
    """Whether a field, shown by that control, leaves the registry as it is recorded and so may be kept locally."""
    return control in CONTROLS and _leaves_as_it_is(policy_path(place, field))


@cache
def _leaves_as_it_is(path: str) -> bool:
    rule = DOCUMENT.get(path)
    return rule is not None and rule.treatment is Treatment.KEEP and not path.startswith(_NEVER)


def policy_path(place: str, field: str) -> str:
    """The path by which the policy names a field of a place: `C1.a7`, `minutes` is
    `complications[].actions[].minutes`."""
    steps = [] if place == CASE else [_step(step) for step in place.split(".")]
    return ".".join([*steps, field])


def _step(step: str) -> str:
    row = _STEP.fullmatch(step)
    return f"{_LIST_OF_STEP[row[1]]}[]" if row and row[1] in _LIST_OF_STEP else step

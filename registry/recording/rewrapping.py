"""Wrapping every data key anew under the current wrapping key, so that an older one can be taken out of use."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import partial
from uuid import UUID

from registry.journal import COMMAND_LINE, Event
from registry.models import DataKey
from registry.recording.change import Change, recorded
from registry.sealing import KeysMissing, NotOpened, Wrapped, keys, unwrap, wrap

BATCH = 5000
"""Keys wrapped anew in one change: others can save in between."""


def rotate_keys() -> int:
    """Wrap every key that another wrapping key holds; returns their number. Repeatable after an interruption.

    KeysMissing names an older wrapping key that is not at hand, before anything is changed; NotOpened where a
    wrapped key was changed.
    """
    current = next(iter(keys().wrapping))
    older = DataKey.objects.exclude(wrapping_key=current)
    held = set(older.order_by().values_list("wrapping_key", flat=True).distinct())
    if missing := sorted(held - keys().wrapping.keys()):
        raise KeysMissing(f"the wrapping key {missing[0]} is missing from WRAPPING_KEYS; nothing was changed")
    done = 0
    while batch := list(older.order_by("pk").values_list("pk", flat=True)[:BATCH]):
        done += recorded(partial(_wrapped_anew, batch=batch, current=current), who=COMMAND_LINE)
    return done


def _wrapped_anew(change: Change, *, batch: Sequence[UUID], current: str) -> int:
    rows = list(
        DataKey.objects.filter(pk__in=batch).exclude(wrapping_key=current).order_by("pk").select_for_update()
    )
    before = Counter(row.wrapping_key for row in rows)
    for row in rows:
        try:
            key = unwrap(Wrapped(row.id, row.owner, row.wrapping_key, row.wrapped))
        except NotOpened:
            raise NotOpened(
                f"the data key of {row.owner} does not open with the wrapping key {row.wrapping_key}: it was changed, "
                "or the wrapping key of this name is another one"
            ) from None
        anew = wrap(key, row.id, row.owner)
        row.wrapping_key, row.wrapped = anew.wrapping_key, anew.wrapped
    DataKey.objects.bulk_update(rows, ["wrapping_key", "wrapped"], batch_size=500)
    if rows:
        change.enter(
            Event("keys_rotated", particulars={"from": dict(before), "to": current, "keys": len(rows)})
        )
    return len(rows)

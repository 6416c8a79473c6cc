"""One transaction for a change: the work, then one append to the journal as the last step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from django.db import DataError, IntegrityError, OperationalError, connection, transaction

from registry import journal
from registry.journal import Event

Result = TypeVar("Result")

TRIES = 3
_AGAIN = {"40P01", "40001", "55P03"}
"""PostgreSQL's deadlock, serialisation failure and lock timeout: the whole change is tried again."""


class NotSaved(Exception):
    """A change was refused or could not be made; nothing of it was written. The message says why and what to do."""


@dataclass(slots=True)
class Change:
    """A change on its way: what has been done so far, to be entered in the journal when it is complete."""

    who: str
    events: list[Event] = field(default_factory=list)

    def enter(self, event: Event) -> None:
        """Note an event; entries are written in this order."""
        self.events.append(event)


def recorded(work: Callable[[Change], Result], *, who: str) -> Result:
    """Do `work` in one durable transaction and enter its events; again from the start after a deadlock.

    Raises NotSaved where the database refuses; its own words hold values of rows and go no further than here.
    """
    for tried in range(1, TRIES + 1):
        try:
            with transaction.atomic(durable=True):
                change = Change(who)
                result = work(change)
                if change.events:
                    journal.append(change.events, who)
                return result
        except (IntegrityError, DataError):
            raise NotSaved(
                "somebody else saved the same thing at the same moment, or a value is outside what the record can "
                "hold; nothing was changed: look at how it stands now and try again"
            ) from None
        except OperationalError as error:
            if tried < TRIES and getattr(error.__cause__, "sqlstate", None) in _AGAIN:
                continue
            if not _busy(error):
                raise
            raise NotSaved(
                "the registry is busy with another change, such as a large import; nothing was changed: try again"
            ) from None
    raise AssertionError("unreachable")


def _busy(error: OperationalError) -> bool:
    if connection.vendor == "sqlite":
        return "locked" in str(error) or "busy" in str(error)
    return getattr(error.__cause__, "sqlstate", None) in _AGAIN

"""The journal, which is the chain: who did what to which version, codes only, each entry bound to the one before.

`append` is called once in a transaction, as its last step (`recording.change`): it locks the head, takes the time,
inserts the entries and moves the head. A second append in one PostgreSQL transaction deadlocks with others.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import connection
from django.utils import timezone

from registry.canonical import Json, write
from registry.models import Head, JournalEntry, Look
from registry.sealing import chain_mac, current_chain_key

COMMAND_LINE = "command line"

EVENTS: Mapping[str, str] = {
    "site_added": "A site was added",
    "person_added": "An account was made",
    "membership_given": "A role at a site was given",
    "membership_taken": "A role at a site was taken away",
    "staff_linked": "A staff code was linked to an account",
    "staff_unlinked": "A staff code was taken from an account",
    "person_deactivated": "An account was deactivated",
    "person_activated": "An account was activated again",
    "invitation_made": "An invitation was made",
    "invitation_taken_up": "An invitation was taken up",
    "catalogue_changed": "The device catalogue was changed",
    "device_use_changed": "Monthly device use was changed",
    "procedures_changed": "Monthly returns were changed",
    "cases_imported": "Cases were imported",
    "import_undone": "An import was taken back",
    "case_created": "A case was submitted",
    "case_amended": "A case was amended",
    "case_withdrawn": "A case was withdrawn",
    "case_locked": "A case was locked",
    "case_unlocked": "A case was unlocked",
    "case_brought_back": "A withdrawn case was submitted again",
    "case_erased": "A case's identifying fields were erased",
    "cases_exported": "Complete cases were exported",
    "release_made": "A data release was made",
    "signal_answered": "A word was added to a signal",
    "annotation_added": "An annotation was put on charts",
    "annotation_ended": "An annotation was taken off charts",
    "lot_set_aside": "A lot was set aside",
    "lot_released": "A lot was released again",
    "keys_rotated": "The data keys were wrapped anew",
    "demo_begun": "Loading the invented demo was begun",
    "demo_loaded": "The invented demo was loaded",
}
"""Every event that the journal may hold; a test compares them with what is written."""


@dataclass(frozen=True, slots=True)
class Event:
    """What is to be entered. `digest` is the SHA-256 of the version's text; `particulars` hold codes and numbers."""

    what: str
    case: int | None = None
    code: str | None = None
    version: int | None = None
    digest: str | None = None
    state: str | None = None
    particulars: Mapping[str, Json] = field(default_factory=dict)


def append(events: Sequence[Event], who: str) -> int:
    """Enter events in order; returns the number of the last. Must run inside the change's transaction, as its end."""
    unregistered = {event.what for event in events} - EVENTS.keys()
    if unregistered:
        raise ValueError(f"no such event: {sorted(unregistered)}")
    head = Head.objects.select_for_update().get()
    seal = _seal(head)
    at = timezone.now()
    chain_key = current_chain_key()
    number, mac = head.number, head.mac
    entries: list[JournalEntry] = []
    for event in events:
        number += 1
        text = entry_text(
            event, number=number, at=at, who=who, chain_key=chain_key, seal=seal if not entries else None
        )
        mac = chain_mac(chain_key, mac, number, text)
        entries.append(
            JournalEntry(id=number, at=at, what=event.what, case_id=event.case, text=text, mac=mac)
        )
    JournalEntry.objects.bulk_create(entries, batch_size=2000)
    Head.objects.filter(pk=head.pk).update(number=number, mac=mac, seal=seal["last"] if seal else head.seal)
    return number


def entry_text(
    event: Event,
    *,
    number: int,
    at: datetime.datetime,
    who: str,
    chain_key: str,
    seal: Mapping[str, Json] | None,
) -> str:
    """The canonical text of an entry."""
    return write(
        {
            "number": number,
            "at": moment(at),
            "who": who,
            "what": event.what,
            "case": event.code,
            "version": event.version,
            "sha256": event.digest,
            "state": event.state,
            "key": chain_key,
            "looks": seal,
            "particulars": dict(event.particulars),
        }
    )


def moment(at: datetime.datetime) -> str:
    """A time as it stands in an entry: UTC, to the microsecond."""
    return at.astimezone(datetime.UTC).isoformat(timespec="microseconds")


def _seal(head: Head) -> dict[str, Any] | None:
    """The looks since the last seal, as count, last id and hash; None where there are none.

    On PostgreSQL a look with an earlier number may still be on its way in another transaction, hence the lock, which
    waits for it. It comes after the head's.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f"LOCK TABLE {Look._meta.db_table} IN SHARE MODE")
    return seal_of(Look.objects.filter(pk__gt=head.seal).order_by("pk"))


def seal_of(looks: Any) -> dict[str, Any] | None:
    """Count, last id and hash of looks in the order of their ids."""
    running = hashlib.sha256()
    count, last = 0, 0
    for look in looks.iterator(chunk_size=2000):
        count, last = count + 1, look.pk
        running.update((write([look.pk, moment(look.at), look.who, look.case, look.what]) + "\n").encode())
    return {"count": count, "last": last, "sha256": running.hexdigest()} if count else None

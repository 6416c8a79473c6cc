"""Figures of the whole registry kept ready: when they are shown, asked for and made. No figure is counted here.

A large registry's unfiltered pages of figures read a snapshot, as of an entry of the journal. It is made in the
background, at one moment in which the journal's head is read too, so that a change on its way is in both or in neither.
Nobody who saves waits for it: who reads figures that are behind asks for new ones.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from django.db import OperationalError, transaction
from django.db.models import Q
from django.utils import timezone
from django_tasks import task

from analytics.cohorts import at_one_moment, kept
from analytics.filters import Filters
from analytics.models import Snapshot
from analytics.signals import kept_charts
from registry.models import Complication, Head, JournalEntry, Site

LARGE = 100_000
"""Complications from which on whole-registry questions are answered from a snapshot: below, live ones take 40 ms."""

OLDEST = datetime.timedelta(days=1)
"""Where figures are behind for longer, nothing makes new ones, and pages count live again."""

LOST = datetime.timedelta(hours=1)
"""After so long without being begun, what was asked for is asked for again."""

STAMP = "stamp"
"""The row that says of which moment all others are, and whether new ones are asked for."""

NO_CHANGE = frozenset(
    {
        *("site_added", "person_added", "person_deactivated", "person_activated"),
        *("membership_given", "membership_taken", "invitation_made", "invitation_taken_up"),
        *("case_locked", "case_unlocked", "case_erased", "cases_exported", "release_made"),
        *("signal_answered", "annotation_added", "annotation_ended", "lot_set_aside", "lot_released"),
        *("keys_rotated", "demo_begun", "demo_loaded"),
        # Each case of an import has an entry of its own.
        *("cases_imported", "import_undone"),
    }
)
"""Entries of the journal that change no count."""


@dataclass(frozen=True, slots=True)
class AsOf:
    """Of which moment shown figures are, and how many changes were made since."""

    moment: datetime.datetime
    changes: int


def in_file_name(as_of: AsOf | None) -> str:
    """The moment as part of a file's name; nothing where the file was counted just now."""
    return f"-as-of-{as_of.moment.astimezone(datetime.UTC):%Y-%m-%dT%H%MZ}" if as_of else ""


@contextmanager
def answering(filters: Filters) -> Iterator[AsOf | None]:
    """All questions inside are answered as of one moment: from the snapshot, which is then said, or live.

    Where the snapshot is missing or behind, a new one is asked for afterwards.
    """
    with at_one_moment():
        as_of, behind = _stands(filters)
        if as_of is None:
            yield None
        else:
            with kept.reading():
                yield as_of
    if behind:
        ask()


def _stands(filters: Filters) -> tuple[AsOf | None, bool]:
    """The snapshot to be shown, if any, and whether a new one is wanted."""
    if filters != Filters():
        return None, False
    newest = Complication.objects.order_by("-pk").values_list("pk", flat=True).first()
    if (newest or 0) < LARGE:
        return None, False
    stamp = Snapshot.objects.filter(name=STAMP).first()
    if stamp is None or not stamp.content:
        return None, _is_large()
    changes = changes_since(stamp.number)
    if changes and stamp.as_of < timezone.now() - OLDEST:
        return None, True
    return AsOf(stamp.as_of, changes), changes > 0


def _is_large() -> bool:
    return Complication.objects.order_by()[:LARGE].count() >= LARGE


def changes_since(number: int) -> int:
    """How many changes that may move a figure the journal holds after an entry."""
    return JournalEntry.objects.filter(pk__gt=number).exclude(what__in=NO_CHANGE).count()


def ask() -> None:
    """Ask for a new snapshot, unless one is asked for already. Must not run inside a transaction."""
    now = timezone.now()
    waiting = Snapshot.objects.filter(name=STAMP, asked_at__gt=now - LOST)
    if waiting.exists():
        return
    try:
        Snapshot.objects.get_or_create(name=STAMP, defaults={"number": 0, "as_of": now, "content": ""})
        free = Q(asked_at=None) | Q(asked_at__lte=now - LOST)
        if Snapshot.objects.filter(free, name=STAMP).update(asked_at=now):
            make.enqueue()
    except OperationalError:
        return  # SQLite is busy with somebody's saving: the next reader asks


@task
def make() -> None:
    """Make a new snapshot if the record moved on; what is saved from here on is for the next one."""
    Snapshot.objects.filter(name=STAMP).update(asked_at=None)
    stamp = Snapshot.objects.filter(name=STAMP).exclude(content="").first()
    if stamp is None or changes_since(stamp.number):
        rebuild()


def _parts() -> Iterator[tuple[str, str]]:
    yield from kept.parts(Site.objects.values_list("pk", flat=True))
    yield kept_charts.part()


def rebuild() -> int:
    """Make a snapshot now; returns the entry of the journal as of which it is. A newer one that is there stays."""
    as_of = timezone.now()
    with at_one_moment():
        number = Head.objects.values_list("number", flat=True).get()
        large = _is_large()
        parts = list(_parts()) if large else []
    rows = [Snapshot(name=name, number=number, as_of=as_of, content=text) for name, text in parts]
    with transaction.atomic():
        stamp, _ = Snapshot.objects.select_for_update().get_or_create(
            name=STAMP, defaults={"number": 0, "as_of": as_of, "content": ""}
        )
        if number >= stamp.number:
            Snapshot.objects.exclude(name=STAMP).delete()
            Snapshot.objects.bulk_create(rows, batch_size=500)
            stamp.number, stamp.as_of, stamp.content = number, as_of, "complete" if large else ""
            stamp.save(update_fields=["number", "as_of", "content"])
    return number

"""The writer of data releases: right, rule, files, receipt and journal; it enters what leaves before it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from django.utils import timezone

from casebook.disclosure import Disclosure, Period, ReleaseRefused
from casebook.models import DataRelease
from casebook.package import folder_in_place
from casebook.release import write_release
from registry.access import MAY_RELEASE, Scope, registry_id, require
from registry.canonical import unwritable
from registry.deidentify.field_policy import policy_version
from registry.deidentify.pseudonyms import Pseudonyms
from registry.deidentify.reading import LeavingCases, left_out_for_their_date
from registry.journal import Event
from registry.models import DataKey, Head, Person, Site
from registry.public_codes import new_code
from registry.recording.change import Change, recorded
from registry.sealing import new_data_key, seal

SEALED_AS = "release"
"""What the sealed part of a receipt is bound to in place of a version."""


def make_release(
    out: Path, *, sites: Sequence[Site], period: Period, purpose: str, by: Person
) -> DataRelease:
    """Write a de-identified release of the sites' cases to a new or empty folder and keep its receipt.

    The folder appears whole or not at all, and only when the journal says so. Raises ReleaseRefused, NotAllowed or
    NotSaved; then nothing has left.
    """
    if not purpose.strip() or unwritable(purpose):
        raise ReleaseRefused("a release needs its purpose, in readable words")
    if not sites:
        raise ReleaseRefused("a release needs at least one site")
    require(by, MAY_RELEASE, sites)
    scope = Scope(frozenset(site.pk for site in sites))
    code, pseudonyms = new_code(), Pseudonyms.drawn()
    with folder_in_place(out) as folder:
        disclosure, manifest = write_release(
            folder,
            LeavingCases(scope, period.since, period.until, pseudonyms),
            code=code,
            smallest_class=max(site.smallest_class for site in sites),
            period=period,
            left_out=left_out_for_their_date(scope, period.since, period.until),
            today=timezone.localdate(),
        )
        receipt = _receipt(code, sites, period, by, disclosure, manifest)
        return _recorded(receipt, purpose.strip(), pseudonyms, by)


def _receipt(
    code: str, sites: Sequence[Site], period: Period, by: Person, disclosure: Disclosure, manifest: str
) -> DataRelease:
    return DataRelease(
        code=code,
        made_at=timezone.now(),
        who=by.code,
        sites=" ".join(sorted(site.code for site in sites)),
        since=period.since,
        until=period.until,
        policy=policy_version(),
        smallest_class=disclosure.smallest_class,
        smallest_class_reached=disclosure.reached,
        considered=disclosure.considered,
        released=disclosure.released,
        suppressed=disclosure.suppressed,
        manifest=manifest,
    )


def _recorded(receipt: DataRelease, purpose: str, pseudonyms: Pseudonyms, by: Person) -> DataRelease:
    wrapped, key = new_data_key(receipt.code)
    secret = {"purpose": purpose, "pseudonyms": pseudonyms.key.hex()}
    receipt.key = wrapped.id
    receipt.sealed = seal(secret, key, registry_id(), receipt.code, SEALED_AS)
    event = Event(
        "release_made",
        particulars={
            "release": receipt.code,
            "sites": receipt.sites.split(),
            "cases": receipt.released,
            "manifest": receipt.manifest,
        },
    )

    def work(change: Change) -> None:
        DataKey.objects.create(
            id=wrapped.id, owner=wrapped.owner, wrapping_key=wrapped.wrapping_key, wrapped=wrapped.wrapped
        )
        receipt.pk = None
        receipt.head = str(Head.objects.get())
        receipt.save(force_insert=True)
        change.enter(event)

    recorded(work, who=by.code)
    return receipt


def head_of_the_journal() -> str:
    """The journal's head as `NUMBER:MAC`, to be kept outside: with it a later history can be shown to hold this one."""
    return str(Head.objects.get())

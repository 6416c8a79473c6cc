"""Which staff code of a site is which account: so that somebody's own cases are theirs to read, and figures say "you".

A code says who did something in a case; the link gives its account the rights of own cases, so an administrator of the
site makes it.
"""

from __future__ import annotations

from registry.access import require
from registry.case_fields import ID
from registry.journal import Event
from registry.models import Membership, Person, Site, Staff
from registry.recording.cases import actor
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.sites import MAY_ADMINISTER
from registry.terms import UNKNOWN


def codes_of(person: Person, sites: list[Site]) -> dict[int, list[str]]:
    """The staff codes of a person by the sites' keys, each list in order."""
    found: dict[int, list[str]] = {site.pk: [] for site in sites}
    rows = Staff.objects.filter(person=person, site__in=sites).order_by("code")
    for site, code in rows.values_list("site_id", "code"):
        found[site].append(code)
    return found


def link_staff_code(person: Person, site: Site, code: str, *, by: Person | None) -> None:
    """Say that a code of the site is this person; made where no case has named it yet.

    NotSaved where the code is somebody else's, or the person has no role at the site.
    """
    wanted = code.strip()
    if not wanted or len(wanted) > ID or wanted == UNKNOWN or not wanted.isprintable():
        raise NotSaved(f"staff code, value {code[:ID]!r}: a code is readable text of 1 to {ID} characters")

    def work(change: Change) -> None:
        if by is not None:
            require(by, MAY_ADMINISTER, [site])
        if not Membership.objects.filter(person=person, site=site, active=True).exists():
            raise NotSaved(f"this person has no role at {site.name}; give one first")
        row, _ = Staff.objects.get_or_create(site=site, code=wanted)
        if row.person_id == person.pk:
            return
        if not Staff.objects.filter(pk=row.pk, person=None).update(person=person):
            raise NotSaved(f"the code {wanted} of {site.name} is somebody else's; take it from them first")
        change.enter(Event("staff_linked", particulars=_named(person, site, wanted)))

    recorded(work, who=actor(by))


def unlink_staff_code(person: Person, site: Site, code: str, *, by: Person) -> None:
    """Take a code from a person; cases keep the code. One that is not theirs is no change."""

    def work(change: Change) -> None:
        require(by, MAY_ADMINISTER, [site])
        if Staff.objects.filter(site=site, code=code, person=person).update(person=None):
            change.enter(Event("staff_unlinked", particulars=_named(person, site, code)))

    recorded(work, who=actor(by))


def _named(person: Person, site: Site, code: str) -> dict[str, str]:
    return {"person": person.code, "site": site.code, "staff": code}

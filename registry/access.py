"""The doors to the record: who may read, change, import, export and count what. Missing and forbidden answer alike.

Nothing is counted or listed without a `Scope`; only this module makes one.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils import timezone

from registry.canonical import read
from registry.documents.sealed_fields import joined
from registry.models import (
    Case,
    DataKey,
    Head,
    JournalEntry,
    Look,
    Membership,
    Person,
    Site,
    StaffRole,
    Version,
)
from registry.rights import Extent, Reach, rights
from registry.sealing import NotOpened, Wrapped, unseal, unwrap
from registry.terms import Role
from registry.versions import last_version, version_text

_REMEMBERED = "remembered_roles"

ALL_ROLES = frozenset(Role)
MAY_WRITE = frozenset({Role.OPERATOR, Role.NURSE_OR_FELLOW, Role.ADMINISTRATOR})
MAY_EXPORT = frozenset({Role.ADMINISTRATOR})
MAY_RELEASE = frozenset({Role.QUALITY_OFFICER, Role.ADMINISTRATOR})


class NotAllowed(Exception):
    """Somebody may not do that, or not there; the message says what it takes."""


class NotFound(Exception):
    """There is no such case, or none that this person may see: the two answer alike."""


@dataclass(frozen=True, slots=True)
class Scope:
    """The cases that somebody may count: those of `sites` (primary keys), or of all where it is None.

    `everything` is the right to see numbers of any size: for people at the machine, who have the data anyway.
    """

    sites: frozenset[int] | None
    everything: bool = False

    def narrowed(self, codes: Iterable[str]) -> Scope:
        """The same scope, of these sites only; NotFound names a code that is not in it. No codes: unchanged."""
        wanted = list(codes)
        if not wanted:
            return self
        found = {site.code: site.pk for site in Site.objects.filter(code__in=wanted)}
        seen = {code: key for code, key in found.items() if self.sites is None or key in self.sites}
        strange = [code for code in wanted if code not in seen]
        if strange:
            raise NotFound(
                f"there is no site {strange[0]!r} here; sites: {', '.join(self.codes()) or 'none yet'}"
            )
        return Scope(frozenset(seen.values()), self.everything)

    def among(self, keys: Iterable[int]) -> Scope:
        """The same scope, of those of these sites alone that are in it."""
        asked = frozenset(keys)
        return Scope(asked if self.sites is None else asked & self.sites, self.everything)

    def codes(self) -> list[str]:
        """The codes of its sites."""
        sites = Site.objects.all() if self.sites is None else Site.objects.filter(pk__in=self.sites)
        return list(sites.order_by("code").values_list("code", flat=True))


def scope_of_command_line() -> Scope:
    """The whole registry: for the people who have the machine."""
    return Scope(sites=None, everything=True)


def remember_roles(person: Person) -> None:
    """Read a person's roles once, for the length of a request: every question below is then answered from them."""
    person.__dict__[_REMEMBERED] = _roles(person)


def _roles(person: Person) -> list[tuple[int, Role]]:
    """Site and role of each active membership of an active person."""
    remembered: list[tuple[int, Role]] | None = person.__dict__.get(_REMEMBERED)
    if remembered is not None:
        return remembered
    if not person.is_active:
        return []
    held = Membership.objects.filter(person=person, active=True).values_list("site_id", "role")
    return [(site, Role(role)) for site, role in held]


def _sites(person: Person, roles: frozenset[Role]) -> frozenset[int]:
    return frozenset(site for site, role in _roles(person) if role in roles)


def scope_of(person: Person, roles: frozenset[Role]) -> Scope:
    """The sites at which a person is one of `roles`."""
    return Scope(_sites(person, roles))


def person_acting(email: str, roles: frozenset[Role], sites: Iterable[Site]) -> Person:
    """The active member behind an address who has one of `roles` at every site; NotAllowed says what is missing."""
    try:
        person = Person.objects.get_by_natural_key(email)
    except Person.DoesNotExist:
        raise NotAllowed(f"{email} is not an active member of this registry") from None
    if not _roles(person):
        raise NotAllowed(f"{email} is not an active member of this registry")
    require(person, roles, sites)
    return person


def require(person: Person, roles: frozenset[Role], sites: Iterable[Site]) -> None:
    """NotAllowed unless the person is one of `roles` at every one of the sites."""
    held = _sites(person, roles)
    for site in sites:
        if site.pk not in held:
            asked = " or ".join(sorted(role.replace("_", " ") for role in roles))
            raise NotAllowed(f"{person.email} is not {asked} at the site {site.code}")


def sites_for(person: Person, route: str) -> QuerySet[Site]:
    """The sites at which a person may use a route, for own cases at least, or whose figures it shows them."""
    if _sees_the_registry(person, route):
        return Site.objects.all()
    return Site.objects.filter(pk__in=_sites(person, _roles_that_may(route)))


def _sees_the_registry(person: Person, route: str) -> bool:
    extents = rights()[route].extents
    return any(extents.get(role) == Extent.REGISTRY for _, role in _roles(person))


def _roles_that_may(route: str) -> frozenset[Role]:
    right = rights()[route]
    return ALL_ROLES if right.reach == Reach.SELF else frozenset(right.extents)


def may_enter(person: Person, route: str) -> bool:
    """Whether a person may use a route at some site."""
    return bool(_sites(person, _roles_that_may(route)))


def scope_for(person: Person, route: str) -> Scope:
    """The sites whose cases a person may count on a route; all of them where a role's right there is the registry's.

    Of other sites' cases the page then says site, month, device and lot alone.
    """
    if _sees_the_registry(person, route):
        return Scope(None)
    return Scope(_sites(person, _roles_that_may(route)))


def case_for(person: Person, route: str, code: str) -> Case:
    """A case by its public code, for a route that is about a case.

    NotFound where it is missing or at another site; NotAllowed where the person's roles at its site do not go so far.
    """
    case = case_for_reading(person, code)
    extents = rights()[route].extents
    reached = {extents[role] for site, role in _roles(person) if site == case.site_id and role in extents}
    if Extent.SITE in reached or (Extent.OWN in reached and is_own(person, case)):
        return case
    raise NotAllowed("this needs another role at this site")


def is_own(person: Person, case: Case) -> bool:
    """Whether a person submitted the case or is named in it by a staff code."""
    first = JournalEntry.objects.filter(case=case, what="case_created").values_list("text", flat=True).first()
    submitted = first is not None and read(first)["who"] == person.code
    return submitted or StaffRole.objects.filter(case=case, person__person=person).exists()


def cases_visible_to(person: Person) -> QuerySet[Case]:
    """The cases of the sites where a person is a member."""
    return Case.objects.filter(site__in=_sites(person, ALL_ROLES))


def case_for_reading(person: Person, code: str) -> Case:
    """A case by its public code; NotFound where it is missing or not for this person."""
    try:
        return cases_visible_to(person).select_related("site").get(code=code)
    except Case.DoesNotExist:
        raise NotFound("there is no case with this code") from None


def whole_document(person: Person, case: Case, number: int | None = None) -> dict[str, object]:
    """A version of a case, the last one by itself, with its identifying fields.

    That somebody looked is written before they are read.
    """
    require(person, ALL_ROLES, [case.site])
    Look.objects.create(at=timezone.now(), who=person.code, case=case.code, what="document")
    return opened_document(case, number)


def opened_document(case: Case, number: int | None = None) -> dict[str, object]:
    """The document of a version of a case, the last one where no number is given, its sealed fields opened.

    For doors and writers, not for pages. NotOpened where its key was erased.
    """
    version = last_version(case.pk) if number is None else Version.objects.get(case=case, number=number)
    text = version_text(version.text)
    if text.sealed is None or text.key is None:
        return joined(text.clear, {})
    return joined(
        text.clear, unseal(text.sealed, data_key(text.key), registry_id(), case.code, version.number)
    )


def data_key(key_id: uuid.UUID | None) -> bytes:
    """An unwrapped data key; NotOpened where it was erased."""
    row = None if key_id is None else DataKey.objects.filter(pk=key_id).first()
    if row is None:
        raise NotOpened("the key of this case has been erased")
    return unwrap(Wrapped(row.id, row.owner, row.wrapping_key, row.wrapped))


def data_keys(wanted: Collection[uuid.UUID]) -> dict[uuid.UUID, bytes]:
    """Unwrapped data keys by their id; NotOpened where one is missing."""
    rows = {row.pk: row for row in DataKey.objects.filter(pk__in=wanted)}
    if len(rows) < len(set(wanted)):
        raise NotOpened("a key has been erased")
    return {
        key: unwrap(Wrapped(row.id, row.owner, row.wrapping_key, row.wrapped)) for key, row in rows.items()
    }


def registry_id() -> str:
    """The registry's own id, to which everything sealed is bound."""
    return str(Head.objects.values_list("registry", flat=True).get())

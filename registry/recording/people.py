"""People of a site after they have been added: who they are, taking a role, closing and opening an account.

A site always keeps an active administrator, also where two administrators act at once: what is asked of a site's
roles is asked with the site locked.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from registry.access import NotFound, require, sites_for
from registry.journal import Event
from registry.models import Membership, Person, Site
from registry.recording.cases import actor
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.sites import MAY_ADMINISTER, end_invitations, sites_with_a_role
from registry.recording.staff_codes import codes_of
from registry.terms import Role
from registry.vocabulary import word_list


@dataclass(frozen=True, slots=True)
class PersonAt:
    """Somebody at a site, as a list of its people shows it."""

    code: str
    name: str
    email: str
    roles: tuple[str, ...]
    state: str


@dataclass(frozen=True, slots=True)
class SitePeople:
    """A site and everybody who has or had a role at it, those without one last."""

    site: Site
    people: list[PersonAt]


@dataclass(frozen=True, slots=True)
class Standing:
    """One person as an administrator sees them: roles held and free at the administrator's sites.

    `whole` says that the administrator answers for every site at which the person has a role, and so for the account.
    """

    person: Person
    state: str
    held: list[tuple[Site, list[tuple[Role, str]]]]
    staff: list[tuple[Site, list[str]]]
    whole: bool
    oneself: bool


def role_label(role: str) -> str:
    """A role in words."""
    return word_list("account_role")[role].label


def people_of(by: Person) -> list[SitePeople]:
    """The people of the sites that somebody administers."""
    rows = Membership.objects.filter(site__in=sites_for(by, "people")).select_related("person", "site")
    by_site: dict[Site, dict[Person, list[str]]] = {
        site: {} for site in sites_for(by, "people").order_by("code")
    }
    for row in rows.order_by("person__name", "person__email", "id"):
        roles = by_site[row.site].setdefault(row.person, [])
        if row.active:
            roles.append(role_label(row.role))
    return [
        SitePeople(
            site,
            sorted(
                (
                    PersonAt(person.code, str(person), person.email, tuple(roles), _state(person))
                    for person, roles in people.items()
                ),
                key=lambda one: not one.roles,
            ),
        )
        for site, people in by_site.items()
    ]


def _state(person: Person) -> str:
    if not person.is_active:
        return "deactivated"
    return "active" if person.has_usable_password() else "invited"


def person_at_own_site(by: Person, code: str) -> Person:
    """Somebody who has or had a role at a site that `by` administers; NotFound for everybody else."""
    found = Person.objects.filter(code=code, memberships__site__in=sites_for(by, "person")).first()
    if found is None:
        raise NotFound("there is nobody with this code at your sites")
    return found


def standing(person: Person, by: Person) -> Standing:
    """What `by` may see of a person and do about them."""
    own = list(sites_for(by, "person").order_by("code"))
    rows = Membership.objects.filter(person=person, active=True, site__in=own).order_by("id")
    roles: dict[int, list[tuple[Role, str]]] = {site.pk: [] for site in own}
    for row in rows:
        roles[row.site_id].append((Role(row.role), role_label(row.role)))
    mine, codes = set(roles), codes_of(person, own)
    return Standing(
        person=person,
        state=_state(person),
        held=[(site, roles[site.pk]) for site in own],
        staff=[(site, codes[site.pk]) for site in own],
        whole=all(site.pk in mine for site in sites_with_a_role(person)),
        oneself=person.pk == by.pk,
    )


def take_role(person: Person, site: Site, role: Role, *, by: Person) -> None:
    """Take a role at a site away; NotSaved where it is the last administrator's. One that is not held is no change."""

    def work(change: Change) -> None:
        _locked([site])
        require(by, MAY_ADMINISTER, [site])
        taken = Membership.objects.filter(person=person, site=site, role=role, active=True).update(
            active=False
        )
        if not taken:
            return
        if role == Role.ADMINISTRATOR:
            _keeps_an_administrator([site])
        particulars = {"person": person.code, "site": site.code, "role": str(role)}
        change.enter(Event("membership_taken", particulars=particulars))

    recorded(work, who=actor(by))


def set_active(person: Person, active: bool, *, by: Person) -> None:
    """Close an account, which ends its sessions and invitations, or open it again; its roles stay as they are."""

    def work(change: Change) -> None:
        sites = sites_with_a_role(person)
        _locked(sites)
        require(by, MAY_ADMINISTER, sites)
        if person.pk == by.pk:
            raise NotSaved("nobody deactivates the account with which they are signed in")
        if not Person.objects.filter(pk=person.pk, is_active=not active).update(is_active=active):
            return
        if not active:
            end_invitations(person)
            _keeps_an_administrator(sites)
        what = "person_activated" if active else "person_deactivated"
        change.enter(Event(what, particulars={"person": person.code}))

    recorded(work, who=actor(by))


def _locked(sites: Iterable[Site]) -> None:
    keys = [site.pk for site in sites]
    list(Site.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk"))


def _keeps_an_administrator(sites: Iterable[Site]) -> None:
    for site in sites:
        left = Membership.objects.filter(
            site=site, role=Role.ADMINISTRATOR, active=True, person__is_active=True
        )
        if not left.exists():
            raise NotSaved(
                f"this is the last administrator of {site.name}; give somebody else that role there first"
            )

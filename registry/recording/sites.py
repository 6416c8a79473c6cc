"""Sites, accounts, roles and invitations."""

from __future__ import annotations

import datetime
import hashlib
import re
import secrets
import zoneinfo

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import QuerySet
from django.utils import timezone

from registry.access import require
from registry.case_fields import ID
from registry.journal import Event
from registry.models import Invitation, Membership, Person, Site
from registry.recording.cases import actor
from registry.recording.change import Change, NotSaved, recorded
from registry.terms import Role

MAY_ADMINISTER = frozenset({Role.ADMINISTRATOR})
INVITATION_HOLDS = datetime.timedelta(days=14)
"""How long a link opens an account that nobody has taken up."""
_SITE_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]*")


def add_site(code: str, name: str, *, time_zone: str = "UTC", by: Person | None) -> Site:
    """A site by its code; the one that is there where there is one, its name left as it is."""
    if not _SITE_CODE.fullmatch(code) or len(code) > ID:
        raise NotSaved(f"{code!r} cannot be a site's code: letters, digits, -, _ and . up to {ID}, no spaces")
    if not name.strip():
        raise NotSaved("a site needs a name")
    if time_zone not in zoneinfo.available_timezones():
        raise NotSaved(f"{time_zone!r} is not a time zone; one is named like Europe/Oslo, or UTC")

    def work(change: Change) -> Site:
        site, new = Site.objects.get_or_create(
            code=code, defaults={"name": name.strip(), "time_zone": time_zone}
        )
        if new:
            change.enter(Event("site_added", particulars={"site": code}))
        return site

    return recorded(work, who=actor(by))


def give_role(email: str, site: Site, role: Role, *, name: str = "", by: Person | None) -> Person:
    """An account for an address, made where there is none, with a role at a site; repeatable.

    NotAllowed for somebody who does not administer the people of the site.
    """
    address = Person.objects.normalise(email)
    try:
        validate_email(address)
    except ValidationError:
        raise NotSaved(f"{email!r} is not an e-mail address") from None

    def work(change: Change) -> Person:
        if by is not None:
            require(by, MAY_ADMINISTER, [site])
        person = Person.objects.filter(email=address).first()
        if person is None:
            person = Person.objects.create_user(address, name=name)
            change.enter(Event("person_added", particulars={"person": person.code}))
        membership, new = Membership.objects.get_or_create(person=person, site=site, role=role)
        if new or not membership.active:
            Membership.objects.filter(pk=membership.pk).update(active=True)
            given = {"person": person.code, "site": site.code, "role": str(role)}
            change.enter(Event("membership_given", particulars=given))
        return person

    return recorded(work, who=actor(by))


def invite(person: Person, *, by: Person | None) -> str:
    """The secret of a new invitation: with it the person chooses a password. Only its digest is kept.

    Older ones of the person end. Who holds the link takes the account, so NotAllowed for somebody who does not
    administer every site at which the person has a role; NotSaved for an account that is not active.
    """
    secret = secrets.token_urlsafe(32)

    def work(change: Change) -> None:
        if by is not None:
            require(by, MAY_ADMINISTER, sites_with_a_role(person))
        if not Person.objects.filter(pk=person.pk, is_active=True).exists():
            raise NotSaved("this account is not active; activate it first")
        end_invitations(person)
        Invitation.objects.create(person=person, digest=_digest(secret))
        change.enter(Event("invitation_made", particulars={"person": person.code}))

    recorded(work, who=actor(by))
    return secret


def invited(secret: str) -> Person | None:
    """Whose account an open invitation is for; None where there is none such."""
    invitation = _open_invitation(secret).select_related("person").first()
    return invitation.person if invitation else None


def _open_invitation(secret: str) -> QuerySet[Invitation]:
    """The invitation of a secret, unless it is used, too old, or of a closed account."""
    youngest = timezone.now() - INVITATION_HOLDS
    return Invitation.objects.filter(
        digest=_digest(secret), used_at=None, made_at__gt=youngest, person__is_active=True
    )


def take_up(secret: str, *, name: str, password: str) -> Person:
    """Give an invited account its name and password; the invitation, and every other of the person, is used up."""

    def work(change: Change) -> Person:
        invitation = _open_invitation(secret).select_for_update(of=("self",)).first()
        if invitation is None:
            raise NotSaved("this invitation has been used already or is too old; ask for another one")
        person = invitation.person
        person.name = name.strip()
        person.set_password(password)
        person.save(update_fields=["name", "password"])
        end_invitations(person)
        change.enter(Event("invitation_taken_up", particulars={"person": person.code}))
        return person

    return recorded(work, who="invitation")


def end_invitations(person: Person) -> None:
    """No link that was handed over before opens the account any more."""
    Invitation.objects.filter(person=person, used_at=None).update(used_at=timezone.now())


def sites_with_a_role(person: Person) -> list[Site]:
    """The sites at which somebody has a role, in the order of their keys."""
    held = Membership.objects.filter(person=person, active=True).values("site_id")
    return list(Site.objects.filter(pk__in=held).order_by("pk"))


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()

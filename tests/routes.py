"""Every route of the product with an example address, found by walking the resolver, and a world to call it in."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from django.urls import URLPattern, URLResolver, get_resolver, reverse

from analytics.answers_signals import BETWEEN
from analytics.models import Annotation, QuarantinedLot
from analytics.recording import annotate, set_lot_aside
from registry.access import may_enter
from registry.models import Case, DeviceModel, Person, Site
from registry.recording.cases import submit_case
from registry.recording.drafts import begin_draft
from registry.recording.sites import add_site
from registry.rights import Reach, rights
from registry.terms import Role
from tests.builders import a_case, a_ladder
from tests.members import a_member

WITHOUT_A_ROLE = {
    "invitation": "whoever holds the link is not signed in yet",
    **dict.fromkeys(
        (
            "account_login",
            "account_logout",
            "account_signup",
            "account_change_password",
            "account_set_password",
            "account_inactive",
            "account_reauthenticate",
            "account_email",
            "account_email_verification_sent",
        ),
        "signing in and one's own password, whatever the role",
    ),
}
"""Routes that need no right, each with the reason."""


def _walk(patterns: list[URLPattern | URLResolver]) -> Iterator[URLPattern]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from _walk(pattern.url_patterns)
        else:
            yield pattern


PATTERNS = {str(pattern.name): pattern for pattern in _walk(get_resolver().url_patterns)}
GUARDED = sorted(PATTERNS.keys() - WITHOUT_A_ROLE.keys())
ABOUT_A_CASE = [name for name in GUARDED if name in rights() and rights()[name].reach == Reach.CASE]


@dataclass
class World:
    """Two sites, one person of each role at each, and one case at each, submitted by its administrator."""

    north: Site
    south: Site
    at_north: dict[Role, Person]
    at_south: dict[Role, Person]
    case: Case
    other_case: Case


def a_world() -> World:
    """See the class."""
    north, south = add_site("north", "North", by=None), add_site("south", "South", by=None)
    at_north = {role: a_member(north, role) for role in Role}
    at_south = {role: a_member(south, role) for role in Role}
    return World(
        north,
        south,
        at_north,
        at_south,
        submit_case(a_case(), by=at_north[Role.ADMINISTRATOR]),
        submit_case(a_case(id="S-1", site="south"), by=at_south[Role.ADMINISTRATOR]),
    )


def _draft(world: World, person: Person) -> str:
    """A draft of the person's own, at their site; where they may begin none, a code that names nothing."""
    sites = [site for site in (world.north, world.south) if person.memberships.filter(site=site).exists()]
    return begin_draft(sites[0], person) if may_enter(person, "log_case") else world.case.code


def _lot(world: World, person: Person) -> str:
    """A lot that the site north has set aside, once or now."""
    there = QuarantinedLot.objects.first()
    if there is None:
        model = DeviceModel.objects.create(code="W-1", device_class="guidewire")
        set_lot_aside(world.north, model, "L-1", "two of it", "room 1", by=world.at_north[Role.LAB_DIRECTOR])
        there = QuarantinedLot.objects.get()
    return there.code


def _model(world: World, person: Person) -> str:
    """A model of the catalogue, which is of no site; its code takes more than one step of an address."""
    return DeviceModel.objects.get_or_create(code="W/4 long", device_class="guidewire")[0].code


def _annotation(world: World, person: Person) -> str:
    """A mark on the charts of the site north."""
    if not Annotation.objects.exists():
        day = datetime.date(2026, 3, 2)
        annotate(world.north, day, "new stock", by=world.at_north[Role.LAB_DIRECTOR])
    return Annotation.objects.get().code


def _signal(world: World, person: Person) -> str:
    """A lot with two first events, over both sites; signals are of all sites."""
    device = {"class": "guidewire", "model": "W-1", "lot": "L-1"}
    if not Case.objects.filter(document_id="L-1").exists():
        for site in (world.north, world.south):
            lot = a_case(a_ladder("wire_stuck:", device=device), id="L-1", site=site.code)
            submit_case(lot, by=None)
    return f"W-1{BETWEEN}L-1"


OWN_THINGS = frozenset(
    {"draft", "discard_draft", "signal", "signal_answered", "figure_file", "device", "device_events_csv"}
)
"""Routes whose example is the caller's own, at their own site; figures are of the sites of who asks."""

EXAMPLES: Mapping[str, Callable[[World, Person], str]] = {
    "draft code": _draft,
    "discard_draft code": _draft,
    "person code": lambda world, person: world.at_north[Role.PRESENTER].code,
    "code": lambda world, person: world.case.code,
    "due which": lambda world, person: "late",
    "figure_file name": lambda world, person: "endings-by-attempt",
    "figure_file kind": lambda world, person: "csv",
    "device code": _model,
    "device_events_csv code": _model,
    "annotation_ended code": _annotation,
    "lot_released code": _lot,
    "signal rule": lambda world, person: "one_lot",
    "signal subject": _signal,
    "signal_answered rule": lambda world, person: "one_lot",
    "signal_answered subject": _signal,
    "site": lambda world, person: world.north.code,
    "month": lambda world, person: "2026-03",
}
"""An example for each parameter of an address, at the site north: by route and parameter, else by parameter."""


def address_of(route: str, world: World, person: Person) -> str:
    """The address of a route with its examples filled in; AssertionError where a parameter has none."""
    arguments = {}
    for parameter in PATTERNS[route].pattern.converters:
        example = EXAMPLES.get(f"{route} {parameter}") or EXAMPLES.get(parameter)
        assert example, f"EXAMPLES needs an example of the parameter {parameter!r} of {route}"
        arguments[parameter] = example(world, person)
    return reverse(route, kwargs=arguments)

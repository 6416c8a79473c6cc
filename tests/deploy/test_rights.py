"""Every route, called by everybody: `rights.toml` is what happens. New routes are found by walking the resolver."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

from registry.access import MAY_WRITE
from registry.models import Case, Person
from registry.public_codes import new_code
from registry.recording.cases import submit_case
from registry.rights import Extent, Reach, Right, rights
from registry.terms import Role
from tests.builders import a_case, changed
from tests.members import Response, pages_of, words_of
from tests.routes import ABOUT_A_CASE, GUARDED, OWN_THINGS, PATTERNS, WITHOUT_A_ROLE, World, address_of

pytestmark = pytest.mark.django_db

SIGN_IN = "/account/sign-in/"


def _answer(response: Response) -> str:
    """The class of an answer: what the person met, not how the page looked."""
    if response.status_code == 302 and response["Location"].startswith(SIGN_IN):
        return "sign in"
    classes = {401: "sign in", 403: "refused", 404: "hidden", 405: "not taken"}
    return classes.get(response.status_code, "entered" if response.status_code < 500 else "broken")


def _answers(route: str, world: World, person: Person, signed_in: Person | None) -> set[str]:
    """The answers to reading and to sending nothing, but for a method that the route does not take."""
    client = pages_of(signed_in)
    read = _answer(client.get(address_of(route, world, person)))
    sent = _answer(client.post(address_of(route, world, person), {}))
    return {read, sent} - {"not taken"}


def _expected(right: Right, role: Role, *, own_site: bool, named_by_address: bool) -> str:
    if right.reach == Reach.SELF:
        return "entered"
    if role not in right.extents:
        return "refused"
    if not own_site:
        return "hidden" if named_by_address else "entered"
    return "entered" if right.extents[role] == Extent.SITE or right.reach == Reach.SITE else "refused"


def test_every_route_has_a_right_or_a_reason_for_having_none() -> None:
    assert sorted(PATTERNS.keys() - rights().keys() - WITHOUT_A_ROLE.keys()) == []


def test_every_right_is_of_a_route() -> None:
    assert sorted(rights().keys() - PATTERNS.keys()) == []


def test_every_guarded_view_names_its_own_right() -> None:
    doors = {route: getattr(PATTERNS[route].callback, "route", None) for route in GUARDED}
    assert {route: named for route, named in doors.items() if named != route} == {}


@pytest.mark.parametrize("route", GUARDED)
def test_each_role_enters_where_the_matrix_says_so_and_nowhere_else(route: str, world: World) -> None:
    right = rights()[route]
    # The case of the world is nobody's own but its administrator's, so "own" is refused here.
    found = {role: _answers(route, world, person, person) for role, person in world.at_north.items()}
    wanted = {role: {_expected(right, role, own_site=True, named_by_address=False)} for role in Role}
    assert found == wanted


@pytest.mark.parametrize("route", GUARDED)
def test_a_role_at_another_site_opens_nothing_of_this_one(route: str, world: World) -> None:
    right = rights()[route]
    named = bool(PATTERNS[route].pattern.converters) and route not in OWN_THINGS
    found = {role: _answers(route, world, person, person) for role, person in world.at_south.items()}
    wanted = {role: {_expected(right, role, own_site=False, named_by_address=named)} for role in Role}
    assert found == wanted


@pytest.mark.parametrize("route", GUARDED)
def test_nobody_enters_without_signing_in(route: str, world: World) -> None:
    assert _answers(route, world, world.at_north[Role.ADMINISTRATOR], None) == {"sign in"}


@pytest.mark.parametrize("route", GUARDED)
def test_a_deactivated_account_enters_nowhere(route: str, world: World) -> None:
    person = world.at_north[Role.ADMINISTRATOR]
    client, address = pages_of(person), address_of(route, world, person)
    Person.objects.filter(pk=person.pk).update(is_active=False)
    assert {_answer(client.get(address)), _answer(client.post(address, {}))} - {"not taken"} == {"sign in"}


@pytest.mark.parametrize("route", GUARDED)
def test_somebody_whose_only_role_was_taken_enters_nowhere(route: str, world: World) -> None:
    person = world.at_north[Role.ADMINISTRATOR]
    address = address_of(route, world, person)
    person.memberships.update(active=False)
    client = pages_of(person)
    found = {_answer(client.get(address)), _answer(client.post(address, {}))} - {"not taken"}
    assert found == {"refused"}


def _met(client: Client, address: str) -> Response:
    """The answer to reading, or to sending nothing where the route takes no reading."""
    response = client.get(address)
    return client.post(address, {}) if response.status_code == 405 else response


@pytest.mark.parametrize("route", ABOUT_A_CASE)
def test_a_case_that_names_somebody_is_open_to_those_with_a_right_to_their_own(
    route: str, world: World
) -> None:
    for number, role in enumerate(rights()[route].extents):
        person, code = world.at_north[role], f"p-{number}"
        case = submit_case(
            changed(a_case(id=f"N-{number + 2}"), "procedure.staff", [{"person": code}]), by=None
        )
        case.site.staff.filter(code=code).update(person=person)
        assert _answer(_met(pages_of(person), reverse(route, kwargs={"code": case.code}))) == "entered", role


@pytest.mark.parametrize("route", ABOUT_A_CASE)
def test_a_case_is_open_to_who_submitted_it_with_a_right_to_their_own(route: str, world: World) -> None:
    for number, role in enumerate(MAY_WRITE & rights()[route].extents.keys()):
        person = world.at_north[role]
        case = submit_case(a_case(id=f"N-{number + 2}"), by=person)
        assert _answer(_met(pages_of(person), reverse(route, kwargs={"code": case.code}))) == "entered", role


def _without_what_differs(page: str, code: str) -> str:
    return re.sub(r'(name="csrfmiddlewaretoken" value=")[^"]*', r"\1", page).replace(code, "CODE")


@pytest.mark.parametrize("route", ABOUT_A_CASE)
def test_another_sites_case_answers_as_one_that_does_not_exist(route: str, world: World) -> None:
    assert Case.objects.filter(code=world.other_case.code).exists()
    nothing = new_code()
    for role in rights()[route].extents:
        client = pages_of(world.at_north[role])
        pages = []
        for code in (world.other_case.code, nothing):
            response = _met(client, reverse(route, kwargs={"code": code}))
            assert response.status_code == 404
            pages.append(_without_what_differs(words_of(response), code))
        assert pages[0] == pages[1]


def test_the_page_of_rights_shows_the_matrix_that_is_enforced(world: World) -> None:
    page = words_of(pages_of(world.at_north[Role.PRESENTER]).get(reverse("rights")))
    for right in rights().values():
        assert right.title.replace("'", "&#x27;") in page

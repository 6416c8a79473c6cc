"""What is sent without a session, or with a page older than the sign-in, is given back on every page of ours."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse

from registry.access import may_enter
from registry.models import Draft, Person
from registry.recording.drafts import begin_draft, opened_draft
from registry.recording.sites import invite
from registry.terms import Role
from tests.members import PASSWORD, Response, pages_of, with_password, words_of
from tests.routes import GUARDED, World, address_of

pytestmark = pytest.mark.django_db

OURS = [{}, {"origin": "http://localhost"}]
OTHERS = ["https://elsewhere.example", "null", "http://localhost:81", "https://localhost"]
TYPED = {"case.narrative": 'Two lines,\r\n"<typed>"', "has": ["case.narrative", "patient"], "do": "keep"}
BY = "allauth.account.auth_backends.AuthenticationBackend"


def hidden(response: Response) -> dict[str, list[str]]:
    """The fields that stand hidden in the form of an answer to the same address."""
    text = words_of(response)
    found: dict[str, list[str]] = {}
    form = re.search(r'<form method="post" action="[^"]*" autocomplete="off">(.*?)</form>', text, re.S)
    for name, value in re.findall(r'name="([^"]*)" value="([^"]*)"', form[1] if form else "", re.S):
        found.setdefault(unescape(name), []).append(unescape(value))
    found.pop("csrfmiddlewaretoken", None)
    return found


def as_sent(fields: Mapping[str, object]) -> dict[str, list[str]]:
    return {name: list(value) if isinstance(value, list) else [str(value)] for name, value in fields.items()}


def a_browser(person: Person | None = None) -> Client:
    """One that has to show its token."""
    client = Client(SERVER_NAME="localhost", enforce_csrf_checks=True)
    if person is not None:
        client.force_login(person, backend=BY)
    return client


@pytest.mark.parametrize("headers", OURS, ids=["no origin", "own origin"])
@pytest.mark.parametrize("route", ["draft", "returns_month", "people", "log_case"])
def test_sent_without_a_session_everything_is_given_back_to_be_sent_again(
    world: World, route: str, headers: dict[str, str]
) -> None:
    address = address_of(route, world, world.at_north[Role.ADMINISTRATOR])
    response = pages_of().post(address, TYPED, headers=headers)
    assert response.status_code == 401
    assert hidden(response) == as_sent(TYPED)
    assert f'action="{address}"' in words_of(response) and "Send it again" in words_of(response)
    assert "Nothing is lost" in words_of(response)


def test_every_guarded_page_gives_back_what_is_sent_without_a_session(world: World) -> None:
    person = world.at_north[Role.ADMINISTRATOR]
    answers = {}
    for route in GUARDED:
        response = pages_of().post(address_of(route, world, person), {"typed": "140"})
        answers[route] = (response.status_code, tuple(hidden(response).get("typed", ())))
    assert set(answers.values()) == {(401, ("140",)), (405, ())}
    assert {route for route, (status, _) in answers.items() if status == 401} >= {
        "draft",
        "people",
        "log_case",
    }


@pytest.mark.parametrize("headers", OURS, ids=["no origin", "own origin"])
@pytest.mark.parametrize("route", ["draft", "returns_month"])
def test_a_page_older_than_the_sign_in_gives_back_what_was_typed(
    world: World, route: str, headers: dict[str, str]
) -> None:
    person = world.at_north[Role.ADMINISTRATOR]
    response = a_browser(person).post(address_of(route, world, person), TYPED, headers=headers)
    assert response.status_code == 403
    assert hidden(response) == as_sent(TYPED)


@pytest.mark.parametrize("origin", OTHERS)
@pytest.mark.parametrize("signed_in", [False, True], ids=["signed out", "old token"])
def test_fields_that_another_site_sent_are_not_offered_for_sending(
    world: World, origin: str, signed_in: bool
) -> None:
    person = world.at_north[Role.ADMINISTRATOR]
    client = a_browser(person) if signed_in else pages_of()
    response = client.post(address_of("returns_month", world, person), TYPED, headers={"origin": origin})
    assert response.status_code == (403 if signed_in else 401)
    assert hidden(response) == {} and "typed" not in words_of(response)


def test_an_address_named_as_the_sites_own_is_the_sites_own(world: World, settings) -> None:
    settings.CSRF_TRUSTED_ORIGINS = ["https://registry.example"]
    address = address_of("people", world, world.at_north[Role.ADMINISTRATOR])
    response = pages_of().post(address, TYPED, headers={"origin": "https://registry.example"})
    assert hidden(response) == as_sent(TYPED)


def test_a_password_never_stands_in_a_page(world: World) -> None:
    secrets = {
        "password": "one-secret",
        "password1": "two-secret",
        "oldpassword": "old-secret",
        "again": "re-secret",
    }
    sent = {**secrets, "name": "Typed Name"}
    link = reverse("invitation", args=[invite(world.at_north[Role.OPERATOR], by=None)])
    for address in (link, reverse("account_login"), reverse("account_change_password")):
        response = a_browser(world.at_north[Role.OPERATOR]).post(address, sent)
        assert response.status_code == 403
        assert hidden(response) == {"name": ["Typed Name"]}
        assert "secret" not in words_of(response)


def test_after_signing_in_elsewhere_two_presses_bring_the_draft_what_was_typed(world: World) -> None:
    person = with_password(world.at_north[Role.OPERATOR])
    code = begin_draft(world.north, person)
    address = reverse("draft", args=[code])
    browser = a_browser(person)
    page = words_of(browser.get(address))
    fields = dict(
        re.findall(
            r'<input type="hidden" name="(csrfmiddlewaretoken|page|version|once)" value="([^"]*)"', page
        )
    )
    browser.cookies.pop("sessionid")
    signed_out = browser.post(address, {**fields, **TYPED})
    assert signed_out.status_code == 401

    sign_in = words_of(browser.get(reverse("account_login")))
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]*)"', sign_in)
    assert token is not None
    fields_of_sign_in = {"login": person.email, "password": PASSWORD, "csrfmiddlewaretoken": token[1]}
    assert browser.post(reverse("account_login"), fields_of_sign_in).status_code == 302

    first = browser.post(address, _again(signed_out))
    assert first.status_code == 403
    second = browser.post(address, _again(first))
    assert second.status_code == 303
    assert opened_draft(person, code).text.document["narrative"] == 'Two lines,\n"<typed>"'
    assert Draft.objects.get().code == code


def _again(response: Response) -> dict[str, object]:
    """Send it again, as it stands: with the token of the page that gave it back."""
    form = words_of(response).rpartition('autocomplete="off">')[2]
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]*)"', form)
    assert token is not None
    return {**hidden(response), "csrfmiddlewaretoken": token[1]}


def test_a_script_keeps_its_page_and_is_told_the_status_alone(world: World) -> None:
    person = world.at_north[Role.OPERATOR]
    address = address_of("draft", world, person)
    assert may_enter(person, "draft")
    for client, status in ((pages_of(), 401), (a_browser(person), 403)):
        response = client.post(address, TYPED, headers={"HX-Request": "true"})
        assert (response.status_code, hidden(response)) == (status, {})

"""Signing in: by address and password alone, closed after eight wrong attempts, by invitation, ended for good."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from registry.models import Invitation, JournalEntry, Person, Site
from registry.recording.change import NotSaved
from registry.recording.people import set_active
from registry.recording.sites import INVITATION_HOLDS, add_site, invite, invited, take_up
from registry.terms import Role
from tests.members import PASSWORD, a_member, pages_of, with_password, words_of

pytestmark = pytest.mark.django_db

LIMIT = 8


@pytest.fixture
def north(db: None) -> Site:
    """A site; what earlier tests counted of attempts is forgotten."""
    cache.clear()
    return add_site("north", "North", by=None)


@pytest.fixture
def operator(north: Site) -> Person:
    """An operator with a password."""
    return with_password(a_member(north, Role.OPERATOR))


def sent(client: Client, address: str, password: str, *, following: str = "", come_from: str = "10.0.0.1"):
    """The answer to the form of signing in."""
    fields = {"login": address, "password": password} | ({"next": following} if following else {})
    return client.post(reverse("account_login"), fields, REMOTE_ADDR=come_from)


def is_in(client: Client) -> bool:
    """Whether the browser is signed in."""
    return client.get(reverse("rights")).status_code == 200


def test_an_address_and_its_password_sign_in_and_lead_home(operator: Person) -> None:
    client = pages_of()
    response = sent(client, operator.email, PASSWORD)
    assert (response.status_code, response["Location"]) == (302, reverse("home"))
    assert is_in(client)


def test_the_form_speaks_in_our_words_and_a_refusal_is_one_sentence(operator: Person) -> None:
    client = pages_of()
    form = words_of(client.get(reverse("account_login")))
    assert "E-mail address" in form
    assert "placeholder" not in form
    refused = words_of(sent(client, operator.email, "not the password"))
    assert "No account has this e-mail address with this password." in refused
    assert "and/or" not in refused


def test_an_address_is_the_same_in_capitals_and_with_spaces_around(operator: Person) -> None:
    client = pages_of()
    sent(client, f" {operator.email.upper()} ", PASSWORD)
    assert is_in(client)


def test_a_wrong_password_and_an_unknown_address_are_told_in_the_same_words(operator: Person) -> None:
    def told(address: str) -> str:
        client = pages_of()
        response = sent(client, address, "not the password")
        assert not is_in(client)
        page = words_of(response).replace(address, "ADDRESS")
        return re.sub(r'(name="csrfmiddlewaretoken" value=")[^"]*', r"\1", page)

    assert told(operator.email) == told("nobody@north.example")


def test_a_wrong_password_leaves_the_address_typed(operator: Person) -> None:
    assert operator.email in words_of(sent(pages_of(), operator.email, "not the password"))


def test_eight_wrong_attempts_close_an_address_from_where_they_came(operator: Person) -> None:
    client = pages_of()
    codes = [sent(client, operator.email, f"wrong {number}").status_code for number in range(LIMIT)]
    assert codes[:-1] == [200] * (LIMIT - 1)
    closed = sent(client, operator.email, PASSWORD)
    assert closed.status_code == 429
    assert "Too many attempts" in words_of(closed)
    assert not is_in(client)


def test_other_letters_of_the_same_address_are_counted_with_it(operator: Person) -> None:
    client = pages_of()
    for number in range(LIMIT):
        sent(client, operator.email.upper() if number % 2 else f"  {operator.email}", f"wrong {number}")
    assert sent(client, operator.email, PASSWORD).status_code == 429


def test_the_same_address_still_signs_in_from_elsewhere(operator: Person) -> None:
    for number in range(LIMIT):
        sent(pages_of(), operator.email, f"wrong {number}")
    client = pages_of()
    sent(client, operator.email, PASSWORD, come_from="10.0.0.2")
    assert is_in(client)


def test_another_address_still_signs_in_from_the_same_place(operator: Person, north: Site) -> None:
    for number in range(LIMIT):
        sent(pages_of(), operator.email, f"wrong {number}")
    client, colleague = pages_of(), with_password(a_member(north, Role.PRESENTER))
    sent(client, colleague.email, PASSWORD)
    assert is_in(client)


def test_seven_wrong_attempts_do_not_close_it(operator: Person) -> None:
    client = pages_of()
    for number in range(LIMIT - 1):
        sent(client, operator.email, f"wrong {number}")
    sent(client, operator.email, PASSWORD)
    assert is_in(client)


def test_an_invitation_holds_for_two_weeks(operator: Person) -> None:
    with time_machine.travel("2026-03-01T12:00:00Z", tick=False) as clock:
        secret = invite(operator, by=None)
        clock.shift(INVITATION_HOLDS - timedelta(seconds=1))
        assert invited(secret) == operator
        clock.shift(1)
        assert invited(secret) is None
        with pytest.raises(NotSaved, match="too old"):
            take_up(secret, name="x", password=PASSWORD)


def test_nobody_signs_up(north: Site) -> None:
    client, count = pages_of(), Person.objects.count()
    fields = {"email": "new@north.example", "password1": PASSWORD, "password2": PASSWORD}
    assert "by invitation" in words_of(client.get(reverse("account_signup")))
    client.post(reverse("account_signup"), fields)
    assert Person.objects.count() == count


def test_a_deactivated_account_does_not_sign_in(operator: Person) -> None:
    Person.objects.filter(pk=operator.pk).update(is_active=False)
    client = pages_of()
    sent(client, operator.email, PASSWORD)
    assert not is_in(client)


def test_deactivating_an_account_ends_its_sessions_and_its_invitations(operator: Person, north: Site) -> None:
    client, secret = pages_of(), invite(operator, by=None)
    sent(client, operator.email, PASSWORD)
    assert is_in(client)
    set_active(operator, False, by=a_member(north, Role.ADMINISTRATOR))
    assert not is_in(client)
    assert invited(secret) is None
    with pytest.raises(NotSaved):
        take_up(secret, name="x", password=PASSWORD)
    set_active(operator, True, by=Person.objects.get(memberships__role=Role.ADMINISTRATOR))
    assert invited(secret) is None


def test_a_new_password_ends_the_sessions_of_the_old_one(operator: Person) -> None:
    client = pages_of()
    sent(client, operator.email, PASSWORD)
    assert is_in(client)
    take_up(invite(operator, by=None), name="x", password=f"{PASSWORD}-and-another")
    assert not is_in(client)


def test_signing_out_takes_a_press_not_a_link(operator: Person) -> None:
    client = pages_of(operator)
    assert client.get(reverse("account_logout")).status_code == 200
    assert is_in(client)
    assert client.post(reverse("account_logout")).status_code == 302
    assert not is_in(client)


def test_signing_in_goes_on_to_the_page_that_was_asked_for(operator: Person) -> None:
    client = pages_of()
    asked = client.get(reverse("rights"))
    assert asked["Location"] == f"{reverse('account_login')}?next={reverse('rights')}"
    assert sent(client, operator.email, PASSWORD, following=reverse("rights"))["Location"] == reverse(
        "rights"
    )


@pytest.mark.parametrize(
    "elsewhere",
    ["https://elsewhere.example/", "//elsewhere.example/", r"\\elsewhere.example", "javascript:1"],
)
def test_signing_in_never_leads_to_another_site(operator: Person, elsewhere: str) -> None:
    response = sent(pages_of(), operator.email, PASSWORD, following=elsewhere)
    assert "elsewhere" not in response["Location"]
    assert "javascript" not in response["Location"]
    assert response["Location"].startswith("/")


@pytest.fixture
def link(north: Site) -> str:
    """The address of an invitation that waits."""
    return reverse("invitation", args=[invite(a_member(north, Role.OPERATOR), by=None)])


def taken_up(client: Client, link: str, password: str = PASSWORD, again: str = "") -> int:
    """The status of the answer to taking an invitation up."""
    fields = {"name": "Typed Name", "password": password, "again": again or password}
    return client.post(link, fields).status_code


def test_an_invitation_gives_the_account_its_password_and_works_once(link: str) -> None:
    client = pages_of()
    assert client.get(link).status_code == 200
    assert taken_up(client, link) == 302
    person = Person.objects.get()
    assert (person.name, person.check_password(PASSWORD)) == ("Typed Name", True)
    assert client.get(link).status_code == 404
    assert taken_up(client, link, "another-long-password") == 404
    person.refresh_from_db()
    assert person.check_password(PASSWORD)


def test_a_new_invitation_ends_the_older_one(link: str) -> None:
    newer = reverse("invitation", args=[invite(Person.objects.get(), by=None)])
    assert pages_of().get(link).status_code == 404
    assert pages_of().get(newer).status_code == 200


@pytest.mark.parametrize(
    "weak", ["too-short-1", "1234567890123", "qwerty123456", "one.operator@north.example"]
)
def test_a_weak_password_is_refused_and_the_name_stays_typed(link: str, weak: str) -> None:
    response = pages_of().post(link, {"name": "Typed Name", "password": weak, "again": weak})
    assert response.status_code == 422
    assert 'value="Typed Name"' in words_of(response)
    passwords = re.findall(r'<input type="password"[^>]*>', words_of(response))
    assert len(passwords) == 2
    assert not any(weak in field for field in passwords)
    assert not Person.objects.get().has_usable_password()


def test_two_different_passwords_are_refused(link: str) -> None:
    assert taken_up(pages_of(), link, again="another-long-password") == 422
    assert not Person.objects.get().has_usable_password()


def test_only_a_digest_of_an_invitation_is_kept(link: str) -> None:
    secret = link.rsplit("/", 1)[-1]
    kept = " ".join(Invitation.objects.values_list("digest", flat=True))
    entries = " ".join(JournalEntry.objects.values_list("text", flat=True))
    assert secret not in kept + entries


def test_an_invitation_that_never_was_is_gone_like_a_used_one(north: Site) -> None:
    assert pages_of().get(reverse("invitation", args=["never-was"])).status_code == 404

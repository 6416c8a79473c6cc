"""Pages of people: roles given and taken, invitations, accounts closed; a site keeps an administrator."""

from __future__ import annotations

import re
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from registry.access import NotAllowed
from registry.models import (
    Invitation,
    Membership,
    Person,
    Site,
    Staff,
)
from registry.recording.change import NotSaved
from registry.recording.people import set_active
from registry.recording.sites import add_site, give_role
from registry.recording.staff_codes import link_staff_code
from registry.terms import Role
from tests.administering import events
from tests.members import Response, a_member, pages_of, with_password, words_of

pytestmark = pytest.mark.django_db


def act(desk: Client, person: Person, **fields: str) -> Response:
    """One button of a person's page."""
    return desk.post(reverse("person", args=[person.code]), fields)


def roles_of(person: Person) -> set[str]:
    return set(Membership.objects.filter(person=person, active=True).values_list("role", flat=True))


def test_somebody_new_gets_a_role_and_an_invitation_that_is_shown_once(desk: Client, north: Site) -> None:
    fields = {"email": "New@North.example", "name": "New One", "site": "north", "role": "operator"}
    page = words_of(desk.post(reverse("people"), fields))
    link = re.search(r"http://localhost(/invitation/[\w-]+)", page)
    assert link and pages_of().get(link[1]).status_code == 200
    person = Person.objects.get(email="new@north.example")
    assert (person.name, roles_of(person)) == ("New One", {"operator"})
    assert link[1] not in words_of(desk.get(reverse("person", args=[person.code])))
    assert events()[-3:] == ["person_added", "membership_given", "invitation_made"]


def test_what_is_wrong_about_somebody_new_is_said_and_stays_typed(desk: Client) -> None:
    fields = {"email": "not an address", "name": "New <One>", "site": "north", "role": "emperor"}
    before = Person.objects.count()
    response = desk.post(reverse("people"), fields)
    page = words_of(response)
    assert response.status_code == 422
    assert 'value="not an address"' in page and 'value="New &lt;One&gt;"' in page
    assert "Enter a valid email address" in page and "emperor is not one of the available choices" in page
    assert Person.objects.count() == before


def test_nobody_is_added_at_a_site_that_one_does_not_administer(desk: Client, south: Site) -> None:
    fields = {"email": "new@south.example", "name": "", "site": "south", "role": "operator"}
    assert desk.post(reverse("people"), fields).status_code == 422
    assert not Person.objects.filter(email="new@south.example").exists()


def test_the_list_shows_the_people_of_ones_own_sites_alone(desk: Client, south: Site, north: Site) -> None:
    a_member(south, Role.OPERATOR, "stranger")
    a_member(north, Role.OPERATOR, "colleague")
    page = words_of(desk.get(reverse("people")))
    assert "colleague operator" in page and "stranger" not in page


def test_somebody_without_a_name_is_listed_by_the_address_once(desk: Client, north: Site) -> None:
    give_role("newcomer@north.example", north, Role.OPERATOR, by=None)
    page = words_of(desk.get(reverse("people")))
    newcomer = page[page.index("newcomer@north.example") :]
    assert newcomer[: newcomer.index("<a ")].count("newcomer@north.example") == 1


def test_a_person_of_another_site_answers_as_nobody(desk: Client, south: Site) -> None:
    stranger = a_member(south, Role.OPERATOR)
    for fields in ({"act": "invite"}, {"act": "deactivate"}, {"act": "take", "role": "south/operator"}):
        assert act(desk, stranger, **fields).status_code == 404
    assert desk.get(reverse("person", args=[stranger.code])).status_code == 404


def test_a_role_is_given_and_taken_and_both_are_entered(desk: Client, north: Site) -> None:
    person = a_member(north, Role.OPERATOR)
    assert act(desk, person, act="give", site="north", role="presenter").status_code == 302
    assert roles_of(person) == {"operator", "presenter"}
    assert act(desk, person, act="take", role="north/operator").status_code == 302
    assert roles_of(person) == {"presenter"}
    assert events()[-2:] == ["membership_given", "membership_taken"]


@pytest.mark.parametrize(
    "fields",
    [
        {"act": "give", "site": "south", "role": "operator"},
        {"act": "give", "site": "north", "role": ""},
        {"act": "take", "role": "south/operator"},
        {"act": "take", "role": "north/emperor"},
        {"act": "take"},
        {"act": "promote"},
        {},
    ],
)
def test_an_act_that_makes_no_sense_is_refused_and_changes_nothing(
    desk: Client, north: Site, south: Site, fields: dict[str, str]
) -> None:
    person = give_role(a_member(north, Role.OPERATOR).email, south, Role.OPERATOR, by=None)
    before = events()
    assert act(desk, person, **fields).status_code == 422
    assert events() == before


def test_the_last_administrator_of_a_site_keeps_the_role(desk: Client, administrator: Person) -> None:
    response = act(desk, administrator, act="take", role="north/administrator")
    assert response.status_code == 422
    assert "last administrator of North" in words_of(response)
    assert roles_of(administrator) == {"administrator"}


def test_a_deactivated_administrator_does_not_count_as_one(
    desk: Client, administrator: Person, north: Site
) -> None:
    other = a_member(north, Role.ADMINISTRATOR, "other")
    assert act(desk, other, act="deactivate").status_code == 302
    assert act(desk, administrator, act="take", role="north/administrator").status_code == 422


def test_with_another_administrator_one_may_lay_the_role_down(
    desk: Client, administrator: Person, north: Site
) -> None:
    a_member(north, Role.ADMINISTRATOR, "other")
    assert act(desk, administrator, act="take", role="north/administrator").status_code == 302
    assert desk.get(reverse("people")).status_code == 403


def test_nobody_deactivates_the_account_that_they_are_using(desk: Client, administrator: Person) -> None:
    response = act(desk, administrator, act="deactivate")
    administrator.refresh_from_db()
    assert (response.status_code, administrator.is_active) == (422, True)


def test_an_account_is_deactivated_and_activated_again(desk: Client, north: Site) -> None:
    person = a_member(north, Role.OPERATOR)
    act(desk, person, act="deactivate")
    assert not Person.objects.get(pk=person.pk).is_active
    assert act(desk, person, act="invite").status_code == 422
    act(desk, person, act="activate")
    assert Person.objects.get(pk=person.pk).is_active
    assert events()[-2:] == ["person_deactivated", "person_activated"]


@pytest.mark.parametrize("what", ["invite", "deactivate"])
def test_an_account_with_a_role_elsewhere_is_not_one_sites_to_take_over_or_close(
    desk: Client, north: Site, south: Site, what: str
) -> None:
    person = with_password(a_member(south, Role.LAB_DIRECTOR))
    page = desk.post(
        reverse("people"), {"email": person.email, "name": "", "site": "north", "role": "operator"}
    )
    assert page.status_code == 302
    assert act(desk, person, act=what).status_code == 403
    person.refresh_from_db()
    assert person.is_active and not Invitation.objects.exists()


def test_an_invited_account_of_another_site_is_not_handed_over_with_a_role_here(
    desk: Client, south: Site
) -> None:
    person = a_member(south, Role.LAB_DIRECTOR)
    fields = {"email": person.email, "name": "", "site": "north", "role": "operator"}
    assert desk.post(reverse("people"), fields).status_code == 302
    assert not Invitation.objects.exists()


def test_an_administrator_whose_role_was_just_taken_takes_nothing(
    desk: Client, administrator: Person, north: Site
) -> None:
    other = a_member(north, Role.ADMINISTRATOR, "other")
    assert act(desk, other, act="take", role="north/administrator").status_code == 302
    assert act(pages_of(other), administrator, act="take", role="north/administrator").status_code == 403
    assert roles_of(administrator) == {"administrator"}


def test_a_staff_code_is_linked_to_an_account_and_taken_from_it(desk: Client, north: Site) -> None:
    person = a_member(north, Role.OPERATOR)
    assert act(desk, person, act="link", staff="north/", staff_code=" p-101 ").status_code == 302
    assert "p-101" in words_of(desk.get(reverse("person", args=[person.code])))
    assert Staff.objects.get().person == person
    assert act(desk, person, act="unlink", staff="north/p-101").status_code == 302
    assert Staff.objects.get().person is None
    assert events()[-2:] == ["staff_linked", "staff_unlinked"]


@pytest.mark.parametrize("code", ["", "  ", "unknown", "x" * 65, "a\x00b", "p-102"])
def test_a_code_that_cannot_be_linked_is_refused_in_words_and_stays_typed(
    desk: Client, north: Site, code: str
) -> None:
    link_staff_code(a_member(north, Role.PRESENTER), north, "p-102", by=None)
    person = a_member(north, Role.OPERATOR)
    answer = act(desk, person, act="link", staff="north/", staff_code=code)
    assert answer.status_code == 422
    assert not Staff.objects.filter(person=person).exists()
    assert 'role="alert"' in answer.content.decode()


def test_a_code_is_linked_only_at_a_site_where_the_person_has_a_role_and_one_administers(
    desk: Client, north: Site, south: Site
) -> None:
    person = a_member(north, Role.OPERATOR)
    assert act(desk, person, act="link", staff="south/", staff_code="p-1").status_code == 422
    with pytest.raises(NotSaved, match="no role"):
        link_staff_code(person, south, "p-1", by=None)
    assert not Staff.objects.exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.data
def test_two_administrators_who_close_each_others_account_at_once_leave_one(transactional_db: None) -> None:
    site = add_site("north", "North", by=None)
    pair = [a_member(site, Role.ADMINISTRATOR), a_member(site, Role.ADMINISTRATOR, "other")]
    together = threading.Barrier(2)

    def close(by: Person, person: Person) -> bool:
        together.wait()
        try:
            set_active(person, False, by=by)
            return True
        except (NotSaved, NotAllowed):
            return False
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as threads:
        done = [threads.submit(close, pair[0], pair[1]), threads.submit(close, pair[1], pair[0])]
        assert sorted(one.result() for one in done) == [False, True]
    assert Person.objects.filter(is_active=True).count() == 1

"""Marks on the charts of a site: who may put them on and take them off, what is kept, whose charts they are on."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Callable
from itertools import pairwise

import pytest
from django.db import connection
from django.test import Client

from analytics.models import Annotation
from analytics.recording import annotate, end_annotation
from registry.models import Membership, Person, Site
from registry.recording.change import NotSaved
from registry.terms import Role
from tests.analytics.builders import add_sites, catalogue, uses
from tests.analytics.page_reading import a_member, shown, text_of

pytestmark = [pytest.mark.data, pytest.mark.django_db]

ADD = "/devices/annotations/"
PAGE = "/devices/model/W-1/"
GIVEN = {
    "site": "north",
    "day": "2026-02-14",
    "words": "A pack that changed",
    "about": "model",
    "model": "W-1",
}


@pytest.fixture
def two_sites(db: None) -> None:
    """A wire that two sites use, and another of which nothing is written."""
    add_sites("north", "south")
    catalogue("Maker,W-1,A name,guidewire", "Maker,W-2,Other,guidewire")
    uses("north,W-1,2026-02,20", "south,W-1,2026-02,20", "north,W-2,2026-02,20")


def a_person(name: str, role: Role) -> Person:
    """Somebody with a role at the site north."""
    person = Person.objects.create_user(f"{name}@sites.example")
    Membership.objects.create(person=person, site=Site.objects.get(code="north"), role=role)
    return person


def somebody(name: str, role: Role) -> Client:
    """Their browser."""
    client = Client(SERVER_NAME="localhost")
    client.force_login(a_person(name, role), backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


def marks_on(client: Client, address: str = PAGE) -> str:
    return text_of(shown(client, address).split('id="annotations"')[1].split("Write an annotation")[0])


def test_a_director_puts_a_mark_on_the_charts_of_the_model_and_takes_it_off(two_sites: None) -> None:
    director = a_member("north")
    answer = director.post(ADD, GIVEN)
    assert (answer.status_code, answer["Location"]) == (302, f"{PAGE}#annotations")
    said = marks_on(director)
    assert "A14 February 2026, North: A pack that changed north@sites.example" in said.replace("A 14", "A14")
    assert 'class="c-box"' in shown(director, PAGE)
    assert "A pack that changed" not in shown(director, "/devices/model/W-2/")
    code = Annotation.objects.get().code
    director.post(f"{ADD}{code}/end/", {"model": "W-1"})
    assert "A pack that changed" not in marks_on(director)
    assert Annotation.objects.get().ended_at is not None


def test_a_mark_about_all_stands_on_every_chart_of_the_site_and_of_no_other(two_sites: None) -> None:
    director = a_member("north")
    director.post(ADD, GIVEN | {"about": "all"})
    director.post(ADD, {"site": "north", "day": "2026-02-20", "words": "Evening on wires", "model": ""})
    for address in (PAGE, "/devices/model/W-2/", "/devices/over-time/"):
        said = marks_on(director, address)
        assert "A pack that changed" in said and "Evening on wires" in said
    assert "A pack that changed" not in shown(a_member("south"), PAGE)
    both = a_member("north", "south")
    assert "A pack that changed" in shown(both, PAGE)
    assert "A pack that changed" not in shown(both, f"{PAGE}?site=south")


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"day": "14 Feb"}, "Allowed: a day written YYYY-MM-DD."),
        ({"day": "2999-01-01"}, "Allowed: a day from 1977-01-01 to today."),
        ({"day": ""}, "Say which day."),
        ({"words": " "}, "Say what happened on that day."),
        ({"words": "a\0b"}, "Null characters are not allowed"),
        ({"words": "x" * 2001}, "at most 2000 characters"),
        ({"site": "south"}, "south is not one of the available choices"),
    ],
)
def test_what_cannot_be_kept_is_given_back_with_all_that_was_typed(
    two_sites: None, wrong: dict[str, str], says: str
) -> None:
    director = a_member("north")
    answer = director.post(f"{ADD}?since=2026-01", GIVEN | wrong)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in text_of(page)
    typed = GIVEN | wrong
    assert typed["words"].strip().replace("\0", "") in page.replace("\0", "")
    assert f'value="{typed["day"]}"' in page or not typed["day"]
    assert '<details class="mark-form no-print" open>' in page
    assert "Since 2026-01" in page
    assert not Annotation.objects.exists()


def test_only_a_director_of_the_site_puts_marks_on_and_takes_them_off(two_sites: None) -> None:
    a_member("north").post(ADD, GIVEN)
    code = Annotation.objects.get().code
    other = a_member("south")
    assert other.post(f"{ADD}{code}/end/").status_code == 404
    assert other.post(ADD, GIVEN).status_code == 422
    operator = somebody("operator", Role.OPERATOR)
    assert operator.post(ADD, GIVEN).status_code == 403
    assert operator.post(f"{ADD}{code}/end/").status_code == 403
    page = shown(operator, PAGE)
    assert "A pack that changed" in page and "Write an annotation" not in page and "Take it off" not in page
    assert Client(SERVER_NAME="localhost").post(ADD, GIVEN).status_code == 401
    assert Annotation.objects.filter(ended_at=None).count() == 1


def test_a_mark_that_is_off_already_is_said_and_not_an_error(two_sites: None) -> None:
    director = a_member("north")
    director.post(ADD, GIVEN)
    code = Annotation.objects.get().code
    for _ in range(2):
        answer = director.post(f"{ADD}{code}/end/", {"model": "W-1"}, follow=True)
        assert answer.status_code == 200
    assert "This annotation is off the charts already." in text_of(answer.content.decode())
    assert director.post(f"{ADD}no-such/end/").status_code == 404
    assert director.post(ADD, GIVEN | {"model": "nothing"}).status_code == 404


def test_marks_have_letters_by_their_day_also_two_of_one_day(two_sites: None) -> None:
    director = a_member("north")
    for words, day in (("third", "2026-02-20"), ("first", "2026-02-01"), ("second", "2026-02-20")):
        director.post(ADD, GIVEN | {"words": words, "day": day})
    said = marks_on(director)
    assert [said.index(word) for word in ("first", "third", "second")] == sorted(
        said.index(word) for word in ("first", "second", "third")
    )
    drawing = shown(director, PAGE).split('id="events-by-month-title"')[1].split("</svg>")[0]
    boxes = [float(piece.split('x="')[1].split('"')[0]) for piece in drawing.split('class="c-box"')[1:]]
    assert len(boxes) == 3
    assert all(later - earlier >= 22 for earlier, later in pairwise(boxes))


@pytest.mark.django_db(transaction=True)
def test_two_directors_at_once_take_a_mark_off_once(two_sites: None) -> None:
    first, second = (a_person(name, Role.LAB_DIRECTOR) for name in ("one", "two"))
    site = Site.objects.get(code="north")
    annotate(site, datetime.date(2026, 2, 14), "A pack that changed", by=first)
    code = Annotation.objects.get().code
    found: list[str] = []

    def end(person: Person) -> Callable[[], None]:
        def work() -> None:
            try:
                end_annotation(code, by=person)
                found.append("off")
            except NotSaved:
                found.append("off already")
            finally:
                connection.close()

        return work

    threads = [threading.Thread(target=end(person)) for person in (first, second)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(found) == ["off", "off already"]

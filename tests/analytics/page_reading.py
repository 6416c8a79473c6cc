"""Signs somebody in and reads the figures off a page, as a program would that has nothing but its HTML."""

from __future__ import annotations

import csv
import html
import io
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.models import Membership, Person, Site
from registry.terms import Role

OTHERS = (
    "partly",
    "unchanged",
    "not_delivered",
    "stopped_for_safety",
    "unknown",
    "resolved_with_injury",
)
LAST = ("worse", "resolved_with_new_complication", "declined")
RATE = ("rate_per_1000", "lower", "upper")


def a_member(*sites: str, role: Role = Role.LAB_DIRECTOR) -> Client:
    """The browser of somebody who has a role at these sites."""
    person = Person.objects.create_user(f"{'-'.join(sites).lower()}@sites.example")
    for site in sites:
        Membership.objects.create(person=person, site=Site.objects.get(code=site), role=role)
    client = Client(SERVER_NAME="localhost")
    client.force_login(person, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


def shown(client: Client, address: str, query: Mapping[str, Any] | None = None) -> str:
    """A page as HTML."""
    answer = client.get(address, query or {})
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


def text_of(page: str) -> str:
    """The words of a page, with single spaces."""
    return " ".join(html.unescape(re.sub(r"<[^>]*>", "", page)).split())


def rows_of(page: str, key: str) -> list[tuple[dict[str, str], str]]:
    """The rows of the table that carry `data-key`: their attributes, and what is in them."""
    found = re.findall(r"<tr([^>]* data-" + key + r"=[^>]*)>(.*?)</tr>", page, re.DOTALL)
    return [
        (
            {
                name: html.unescape(value)
                for name, value in re.findall(r'data-([\w-]+)="([^"]*)"', attributes)
            },
            inside,
        )
        for attributes, inside in found
    ]


def _data(inside: str) -> list[str]:
    return [html.unescape(value) for value in re.findall(r'<data value="([^"]*)"', inside)]


def technique_rows(page: str) -> list[dict[str, str]]:
    """The figures of each row by the names of the CSV's columns; those that the page leaves out are missing.

    Where none of 10 or more was resolved, the page prints the upper limit alone.
    """
    rows = []
    for attributes, inside in rows_of(page, "technique"):
        data = _data(inside)
        names = [*OTHERS, "complications_resolved", "complications", "cases", *LAST]
        if len(data) > len(names):
            some = ["resolved", "attempts"]
            figures = ["share", "upper"] if "none resolved" in inside else ["share", "lower", "upper"]
            names = [*some, *(figures if len(data) > len(names) + 2 else []), *names]
        rows.append({**attributes, **dict(zip(names, data, strict=True))})
    return rows


def device_rows(page: str) -> list[dict[str, str]]:
    """The same of devices; where none was seen, the page prints the upper limit alone."""
    rows = []
    for attributes, inside in rows_of(page, "model"):
        data = _data(inside)
        names = ["secondary_events"]
        if "no rate is drawn" not in inside and "so no rate" not in inside:
            names = [*(["upper"] if "none seen" in inside else RATE), *names]
        if "left out" in inside:
            names = ["events_left_out", *names]
        names = ["events", *names]
        if "not recorded</span>" not in inside:
            names = ["uses", *names]
        rows.append({**attributes, **dict(zip(names, data, strict=True))})
    return rows


WIDE = "/figures/attempts-by-technique.csv"
ORDER = "/figures/order-of-attempts.csv"


def read(client: Client, address: str, situation: str) -> list[dict[str, str]]:
    """The rows of a figure's CSV for a situation."""
    return list(csv.DictReader(io.StringIO(shown(client, address, {"situation": situation}))))


MOST_QUESTIONS = 12
OF_THE_FRAME = ("django_session", '"password"', "demo_loaded", "))) LIMIT 1")
"""What every page asks: who it is, where they may go, whether this is the demo."""


@contextmanager
def few_questions(more: int = 0) -> Iterator[CaptureQueriesContext]:
    """A page that is asked for inside asks the database at most twelve questions, beside those of the frame."""
    with CaptureQueriesContext(connection) as asked:
        yield asked
    own = [
        one["sql"] for one in asked.captured_queries if not any(word in one["sql"] for word in OF_THE_FRAME)
    ]
    assert len(own) <= MOST_QUESTIONS + more, own

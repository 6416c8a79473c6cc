"""A browser without a script at the page of a draft, for the tests of logging; checks nothing itself."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

from django.test import Client

from registry.canonical import read
from registry.documents import completed
from registry.editing import finished
from registry.models import Case, Person
from registry.recording.cases import submit_case
from registry.recording.drafts import opened_draft
from registry.recording.sites import add_site, give_role
from registry.terms import Role

CASES = Path(__file__).parents[3] / "fixtures" / "cases"
SIGNED_IN_BY = "allauth.account.auth_backends.AuthenticationBackend"
TEN_TOUCHES = (
    "set C1.device.class guidewire",
    "set C1.situation wire_stuck",
    "segment C1 9",
    "add rung C1 steady_traction",
    "result C1 1 unchanged",
    "add rung C1 microcatheter_to_trap",
    "result C1 2 resolved",
    "set C1.ending out_whole",
)


def signed_in(person: Person) -> Client:
    client = Client(SERVER_NAME="localhost")
    client.force_login(person, backend=SIGNED_IN_BY)
    return client


class Page:
    """A browser without a script at one draft: it holds the page's fields and sends them with the button pressed."""

    def __init__(self, person: Person, address: str = "") -> None:
        self.client = signed_in(person)
        self.person = person
        if not address:
            begun = self.client.post("/log/", {"site": "north"})
            assert begun.status_code == 303
            address = begun["Location"]
        self.address = address
        self.code = address.split("/")[2]
        self.load()

    def load(self, query: str = "") -> None:
        answer = self.client.get(self.address + query)
        assert answer.status_code == 200
        self.html = answer.content.decode()
        self.fields = dict(_fields(self.html))

    def press(self, do: str, status: int = 303, **typed: str) -> Any:
        """Press a button, as it stands on the page or as an operation; fields as they stand but for those typed."""
        self.fields |= {name.replace("__", "."): [text] for name, text in typed.items()}
        answer = self.client.post(self.address, {**self.fields, "do": do})
        assert answer.status_code == status, (do, answer.status_code, answer.content.decode()[:3000])
        if status == 303 and answer["Location"].startswith(self.address):
            self.load(answer["Location"].removeprefix(self.address))
        elif status == 422:
            self.html = answer.content.decode()
        return answer

    @property
    def document(self) -> dict[str, Any]:
        return completed(finished(opened_draft(self.person, self.code).text.document))


def _fields(html: str) -> Iterator[tuple[str, list[str]]]:
    """Every named field of the form with what a browser would send of it."""
    form = html[html.index('<form id="log"') : html.index("</form>", html.index('<form id="log"'))]
    found: dict[str, list[str]] = {}
    for tag in re.finditer(r"<input ([^>]*)>", form):
        marks = dict(re.findall(r'([\w-]+)="([^"]*)"', tag[1]))
        boxed = marks.get("type") == "checkbox"
        if "name" in marks and (not boxed or " checked" in tag[1]):
            found.setdefault(unescape(marks["name"]), []).append(unescape(marks.get("value", "")))
    for name, text in re.findall(r'<textarea [^>]*?name="([^"]*)"[^>]*>\n?(.*?)</textarea>', form, re.S):
        found.setdefault(unescape(name), []).append(unescape(text))
    for name, options in re.findall(r'<select [^>]*?name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', options) or re.search(
            r'<option value="([^"]*)"', options
        )
        assert chosen
        found.setdefault(unescape(name), []).append(unescape(chosen[1]))
    yield from found.items()


def amended(operator: Person, name: str) -> tuple[Page, Case]:
    """A written case of fixtures, submitted, and the page that changes it."""
    document = read((CASES / f"{name}.json").read_bytes())
    give_role(operator.email, add_site(document["site"], "Its own", by=None), Role.OPERATOR, by=None)
    case = submit_case(document, by=operator)
    answer = signed_in(operator).post(f"/case/{case.code}/change/")
    return Page(operator, answer["Location"]), case

"""What holds of every page: nothing inline, nothing from outside, never stored, and refusals in words."""

from __future__ import annotations

import hashlib
import re
import tomllib
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from registry.recording.sites import invite
from registry.terms import Role
from tests.members import PASSWORD, pages_of, with_password, words_of
from tests.routes import GUARDED, PATTERNS, World, address_of

ROOT = Path(__file__).parents[2]
VENDOR = ROOT / "registry" / "static" / "vendor"
TEMPLATES = sorted(ROOT.glob("*/templates/**/*.html"))
STATIC = [
    path
    for path in sorted(ROOT.glob("*/static/**/*"))
    if path.suffix in (".css", ".js", ".svg") and VENDOR not in path.parents
]
NAMESPACES = ("http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink")
"""Names of vocabularies that look like addresses and are never fetched."""

INLINE = {
    "a style attribute": r"\sstyle\s*=",
    "a style element": r"<style",
    "a script of its own": r"<script(?![^>]*\ssrc=)",
    "an event attribute": r"\son[a-z]+\s*=",
    "htmx code": r"hx-on|hx-vars|[\"']js:|\shx-trigger=\"[^\"]*\[",
    "a script address": r"javascript:",
}


def _outside(text: str) -> list[str]:
    for name in NAMESPACES:
        text = text.replace(name, "")
    return re.findall(r"""https?://[^\s"')]+|(?:src|href|url)\s*[=(]\s*["']?//[^\s"')]+|@import[^;]*""", text)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_template_has_anything_inline_or_from_outside(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert [what for what, pattern in INLINE.items() if re.search(pattern, text)] == []
    assert _outside(text) == []


@pytest.mark.parametrize("path", STATIC, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_file_of_ours_names_an_outside_address(path: Path) -> None:
    assert _outside(path.read_text(encoding="utf-8")) == []


def test_the_scan_finds_what_it_looks_for() -> None:
    bad = (
        '<p style="x">', "<style>", "<script>1</script>", '<a onclick="x">', '<a hx-on:click="x">',
        '<a href="javascript:x">',
    )  # fmt: skip
    assert [
        what for line, (what, pattern) in zip(bad, INLINE.items(), strict=True) if re.search(pattern, line)
    ]
    assert all(re.search(pattern, line) for line, pattern in zip(bad, INLINE.values(), strict=True))
    assert len(_outside('<img src="//elsewhere.example/x"> https://elsewhere.example @import "x";')) == 3


class _Inline(HTMLParser):
    """Gathers what the policy would block in a page as it was sent."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        names = {name: value or "" for name, value in attributes}
        if tag == "style" or (tag == "script" and not names.get("src")):
            self.found.append(tag)
        self.found += [
            f"{tag} {name}" for name in names if name == "style" or name.startswith(("on", "hx-on"))
        ]
        links = [names.get(name, "") for name in ("src", "href", "action", "formaction", "srcset")]
        self.found += [link for link in links if re.match(r"https?:|//|javascript:", link)]


PAGES_WITHOUT_A_ROLE = ("account_login", "account_signup", "account_inactive")

POLICY = {
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self' data:",
    "font-src 'self'",
    "connect-src 'self'",
    "form-action 'self'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
}


@pytest.mark.parametrize("route", [*GUARDED, *PAGES_WITHOUT_A_ROLE])
def test_every_answer_is_strict_never_stored_and_free_of_inline_code(route: str, world: World) -> None:
    person = None if route in PAGES_WITHOUT_A_ROLE else world.at_north[Role.ADMINISTRATOR]
    client = pages_of(person)
    address = reverse(route) if person is None else address_of(route, world, person)
    for response in (client.get(address), client.post(address, {})):
        assert set(response["Content-Security-Policy"].split("; ")) == POLICY
        assert "no-store" in response["Cache-Control"]
        assert "HX-Request" in response["Vary"]
        assert response["X-Content-Type-Options"] == "nosniff"
        assert response["X-Frame-Options"] == "DENY"
        assert response["Referrer-Policy"] == "same-origin"
        if response["Content-Type"].startswith("text/html"):
            page = _Inline()
            page.feed(words_of(response))
            assert page.found == []


def test_a_page_has_a_title_one_heading_a_language_and_a_way_past_the_frame(world: World) -> None:
    person = world.at_north[Role.ADMINISTRATOR]
    for route in GUARDED:
        response = pages_of(person).get(address_of(route, world, person))
        if response.status_code == 200 and response["Content-Type"].startswith("text/html"):
            text = words_of(response)
            assert re.search(r"<title>\s*\S[^<]* · Ladderbook</title>", text), route
            assert len(re.findall(r"<h1[\s>]", text)) == 1, route
            assert '<html lang="en-GB">' in text and 'class="skip" href="#main"' in text, route


def test_no_script_reads_the_session(world: World) -> None:
    client, person = pages_of(), with_password(world.at_north[Role.OPERATOR])
    client.post(reverse("account_login"), {"login": person.email, "password": PASSWORD})
    assert client.cookies["sessionid"]["httponly"]
    assert client.cookies["sessionid"]["samesite"] == "Lax"


@pytest.mark.parametrize("route", ["administration", "people", "catalogue_model"])
def test_a_page_marks_the_part_of_the_registry_that_it_belongs_to(world: World, route: str) -> None:
    page = words_of(pages_of(world.at_north[Role.ADMINISTRATOR]).get(reverse(route)))
    marked = re.findall(r"<a [^>]*aria-current[^>]*>([^<]*)</a>", page)
    assert marked == ["Administration"]


def test_an_address_that_names_nothing_says_so(db: None) -> None:
    response = pages_of().get("/nothing/here/")
    assert (response.status_code, "There is nothing at this address" in words_of(response)) == (404, True)


def test_a_page_for_another_role_says_so_and_where_the_roles_are_told(world: World) -> None:
    response = pages_of(world.at_north[Role.PRESENTER]).get(reverse("people"))
    assert response.status_code == 403
    assert "This needs another role" in words_of(response)
    assert reverse("rights") in words_of(response)


def test_what_a_script_sends_after_signing_out_is_answered_in_words_and_nothing_is_redirected(
    world: World,
) -> None:
    script = {"HX-Request": "true"}
    sent = pages_of().post(reverse("people"), {"email": "new@north.example"}, headers=script)
    part = pages_of().get(reverse("people"), headers=script)
    for response in (sent, part):
        assert response.status_code == 401
        assert "You have been signed out" in words_of(response)
        assert "new@north.example" not in words_of(response)


def test_a_request_of_too_many_fields_is_refused_in_words(world: World) -> None:
    client = pages_of(world.at_north[Role.ADMINISTRATOR])
    response = client.post(reverse("people"), {f"field{number}": "x" for number in range(1500)})
    assert (response.status_code, "The request was not understood" in words_of(response)) == (400, True)
    assert "at most 1000 fields" in words_of(response)


def test_an_unknown_host_is_refused(db: None) -> None:
    assert Client(SERVER_NAME="elsewhere.example").get("/").status_code == 400


def test_the_frame_shows_the_places_that_a_role_may_enter(world: World) -> None:
    def named(role: Role) -> list[str]:
        text = words_of(pages_of(world.at_north[role]).get(reverse("rights")))
        nav = text[text.index('<nav aria-label="Pages">') : text.index("</nav>")]
        return re.findall(r">([^<>]+)</a>", nav)

    assert "Administration" in named(Role.LAB_DIRECTOR)
    assert "Administration" not in named(Role.OPERATOR)
    assert named(Role.PRESENTER)[0] == "Home"


def test_the_invitation_page_says_nothing_of_the_site(world: World) -> None:
    link = reverse("invitation", args=[invite(world.at_north[Role.OPERATOR], by=None)])
    text = words_of(pages_of().get(link))
    assert world.at_north[Role.OPERATOR].email in text
    assert world.north.name not in text


FILES_OF_OTHERS = tomllib.loads((VENDOR / "VERSIONS.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", FILES_OF_OTHERS)
def test_a_file_of_others_is_the_one_that_is_named_with_its_licence(name: str) -> None:
    entry = FILES_OF_OTHERS[name]
    path = VENDOR / entry["file"]
    assert hashlib.sha256(path.read_bytes()).hexdigest() == entry["sha256"]
    assert (path.parent / "LICENSE").stat().st_size > 300
    if path.suffix in (".css", ".js"):
        assert entry["version"] in path.read_text(encoding="utf-8")


def test_every_file_of_others_is_named() -> None:
    there = {str(path.relative_to(VENDOR)) for path in VENDOR.rglob("*") if path.is_file()}
    named = {entry["file"] for entry in FILES_OF_OTHERS.values()}
    licences = {str(Path(file).parent / "LICENSE") for file in named}
    assert there == named | licences | {"VERSIONS.toml"}


def test_no_file_of_others_asks_for_a_source_map() -> None:
    for path in VENDOR.rglob("*"):
        if path.suffix in (".css", ".js"):
            assert "sourceMappingURL" not in path.read_text(encoding="utf-8")


def test_pages_are_of_every_route() -> None:
    assert len(TEMPLATES) > 20 and len(STATIC) > 2 and len(PATTERNS) > 20

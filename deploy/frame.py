"""What every page's frame shows: where somebody may go, who is signed in, whether this is the demo."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from deploy.demo_marks import demo_loaded
from registry.access import may_enter
from registry.cautions import caution
from registry.models import Person

NAVIGATION = (
    ("home", "Home"),
    ("log_case", "Log a case"),
    ("cases", "Cases"),
    ("techniques", "Techniques"),
    ("devices", "Devices"),
    ("signals", "Signals"),
    ("sites", "Sites"),
    ("administration", "Administration"),
)
"""Routes and labels in the order of the frame; one without a page is not shown."""


def frame(request: HttpRequest) -> dict[str, Any]:
    """Context for `registry/base.html`."""
    return {
        "navigation": _places(request),
        "demo": caution("demo_invented") if demo_loaded() else "",
        "caution_trained_teams": caution("trained_teams"),
    }


def _places(request: HttpRequest) -> list[dict[str, Any]]:
    person = getattr(request, "user", None)
    if not isinstance(person, Person):
        return []
    return [
        {"address": address, "label": label, "here": _here(address, request.path)}
        for route, label in NAVIGATION
        if may_enter(person, route) and (address := _address(route))
    ]


def _here(address: str, path: str) -> str:
    """The value of `aria-current`: this page itself, or one below it; empty for any other."""
    return "page" if path == address else "true" if _part(path) == _part(address) else ""


def _part(path: str) -> str:
    """The part of the registry that a path belongs to, by its first step; a case belongs to the list of cases."""
    first = path.split("/")[1]
    return "cases" if first == "case" else first


def _address(route: str) -> str:
    try:
        return reverse(route)
    except NoReverseMatch:
        return ""

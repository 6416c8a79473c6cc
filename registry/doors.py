"""The door of a page: who enters it is signed in and may use its route (`rights.toml`)."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry.access import NotAllowed, may_enter, remember_roles
from registry.models import Person

View = Callable[..., HttpResponse]

UNAUTHORISED = 401
NEVER_GIVEN_BACK = ("csrfmiddlewaretoken", "again")
"""Fields beside passwords that stand in no page that is given back: the token, and a password typed again."""


class MemberRequest(HttpRequest):
    """A request of somebody who is signed in."""

    user: Person


def nothing_lost(request: HttpRequest, status: int, why: str = "") -> HttpResponse:
    """Who sent something in vain is given it back: signed out (401), with a page older than the sign-in (403).

    Any other status needs its `why`, a clause. A script of ours keeps its page, and is told the status alone.
    """
    context = {
        "fields": [] if request.headers.get("HX-Request") else _given_back(request),
        "address": request.get_full_path(),
        "signed_out": status == UNAUTHORISED,
        "why": why,
        "files": list(request.FILES),
    }
    return render(request, "registry/nothing_lost.html", context, status=status)


def _given_back(request: HttpRequest) -> list[tuple[str, str]]:
    """Every field that was sent, but for passwords and the token, where the page that sent it is our own.

    Not from "null" either, which a frame of another site may send: its fields would wait here for one press.
    """
    own = f"{request.scheme}://{request.get_host()}"
    if request.headers.get("Origin", own) not in (own, *settings.CSRF_TRUSTED_ORIGINS):
        return []
    return [
        (name, str(value))
        for name, values in request.POST.lists()
        if name not in NEVER_GIVEN_BACK and "password" not in name.lower()
        for value in values
    ]


def page(route: str) -> Callable[[View], View]:
    """For a view of this route: nobody enters unsigned or without a role that may.

    A page that is read leads to signing in and back; something sent is answered 401 and nothing of it is lost: a page
    with a script stays, and without one what was sent is given back.
    """

    def door(view: View) -> View:
        @wraps(view)
        def entered(request: HttpRequest, *arguments: object, **options: object) -> HttpResponse:
            if not isinstance(request.user, Person):
                if request.method == "GET" and not request.headers.get("HX-Request"):
                    return redirect_to_login(request.get_full_path())
                return nothing_lost(request, 401)
            remember_roles(request.user)
            if not may_enter(request.user, route):
                raise NotAllowed("this needs another role")
            return view(request, *arguments, **options)

        entered.route = route  # type: ignore[attr-defined]
        return entered

    return door

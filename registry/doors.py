"""The door of a page: who enters it is signed in and may use its route (`rights.toml`)."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry.access import NotAllowed, may_enter, remember_roles
from registry.models import Person

View = Callable[..., HttpResponse]


class MemberRequest(HttpRequest):
    """A request of somebody who is signed in."""

    user: Person


def page(route: str) -> Callable[[View], View]:
    """For a view of this route: nobody enters unsigned or without a role that may.

    A page that is read leads to signing in and back; something sent is answered 401 and nothing of it is lost, since
    the page that sent it stays.
    """

    def door(view: View) -> View:
        @wraps(view)
        def entered(request: HttpRequest, *arguments: object, **options: object) -> HttpResponse:
            if not isinstance(request.user, Person):
                if request.method == "GET" and not request.headers.get("HX-Request"):
                    return redirect_to_login(request.get_full_path())
                return render(request, "401.html", status=401)
            remember_roles(request.user)
            if not may_enter(request.user, route):
                raise NotAllowed("this needs another role")
            return view(request, *arguments, **options)

        entered.route = route  # type: ignore[attr-defined]
        return entered

    return door

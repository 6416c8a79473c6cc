"""Pages of the frame itself: who may do what, taking up an invitation, and what went wrong."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from deploy.forms import TakeUpForm
from registry.doors import page
from registry.recording.change import NotSaved
from registry.recording.sites import invited, take_up
from registry.rights import rights
from registry.terms import Role
from registry.vocabulary import word_list


@require_GET
@page("rights")
def rights_page(request: HttpRequest) -> HttpResponse:
    """The matrix of rights, as it is enforced."""
    rows = [
        {
            "title": right.title,
            "reach": right.reach,
            "extents": [right.extents.get(role, "") for role in Role],
        }
        for right in rights().values()
    ]
    return render(
        request,
        "rights.html",
        {"rows": rows, "roles": [word_list("account_role")[role].label for role in Role]},
    )


@require_http_methods(["GET", "POST"])
def invitation(request: HttpRequest, secret: str) -> HttpResponse:
    """Taking up an account: choose a password, once."""
    person = invited(secret)
    if person is None:
        return render(request, "invitation_gone.html", status=404)
    form = TakeUpForm(person, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            take_up(secret, name=form.cleaned_data["name"], password=form.cleaned_data["password"])
        except NotSaved:  # taken up on another page in between
            return render(request, "invitation_gone.html", status=404)
        messages.success(request, "The account is yours. Sign in with your address and the password.")
        return redirect("account_login")
    status = 422 if request.method == "POST" else 200
    return render(request, "invitation.html", {"form": form, "email": person.email}, status=status)


def csrf_failed(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The page is older than the sign-in: what was typed is given back, where it came from this site.

    Not from "null", which a frame of another site may send: its fields would wait here for one press.
    """
    own = f"{request.scheme}://{request.get_host()}"
    origin = request.headers.get("Origin", own)
    fields: list[tuple[str, Any]] = []
    if origin == own:
        fields = [
            (name, value)
            for name, values in request.POST.lists()
            if name != "csrfmiddlewaretoken"
            for value in values
        ]
    return render(
        request, "csrf_failed.html", {"fields": fields, "address": request.get_full_path()}, status=403
    )

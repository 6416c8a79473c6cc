"""Pages of the frame itself: who may do what, taking up an invitation, and what went wrong."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import RequestDataTooBig, TooManyFieldsSent, TooManyFilesSent
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.views.decorators.http import require_GET, require_http_methods

from deploy.forms import TakeUpForm
from registry.doors import nothing_lost, page
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
    return render(request, "invitation.html", {"form": form}, status=status)


def csrf_failed(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The page is older than the sign-in: what was typed is given back, where it came from this site."""
    return nothing_lost(request, 403)


def not_understood(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A request that is refused before any page sees it; of too many fields it says so.

    Without the frame's own words of who is signed in: it may have been refused before that was known.
    """
    many = isinstance(exception, TooManyFieldsSent | TooManyFilesSent | RequestDataTooBig)
    context = {"too_much": many, "most": settings.DATA_UPLOAD_MAX_NUMBER_FIELDS}
    return HttpResponseBadRequest(render_to_string("400.html", context))

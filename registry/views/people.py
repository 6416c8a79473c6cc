"""Pages about the people of a site: who they are, adding somebody, roles, invitations, closing an account."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from registry.access import may_enter, sites_for
from registry.doors import MemberRequest, page
from registry.drawings.phrases import raised
from registry.forms.administration import PersonForm, RoleForm
from registry.recording.change import NotSaved
from registry.recording.people import (
    people_of,
    person_at_own_site,
    role_label,
    set_active,
    standing,
    take_role,
)
from registry.recording.sites import give_role, invite
from registry.recording.staff_codes import link_staff_code, unlink_staff_code
from registry.terms import Role


@require_http_methods(["GET", "POST"])
@page("people")
def people(request: MemberRequest) -> HttpResponse:
    """The people of one's sites; adding one answers with the invitation to hand over, shown this once."""
    form = PersonForm(sites_for(request.user, "people").order_by("code"), request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            return _added(request, form)
        except NotSaved as refused:
            form.add_error(None, raised(f"{refused}."))
    status = 422 if request.method == "POST" else 200
    context = {"form": form, "sites": people_of(request.user)}
    return render(request, "registry/administration/people.html", context, status=status)


def _added(request: MemberRequest, form: PersonForm) -> HttpResponse:
    data = form.cleaned_data
    site = sites_for(request.user, "people").get(code=data["site"])
    role = Role(data["role"])
    someone = give_role(data["email"], site, role, name=data["name"].strip(), by=request.user)
    if not someone.has_usable_password() and standing(someone, request.user).whole and someone.is_active:
        return _invitation(request, someone.code)
    messages.success(request, f"{someone} is {role_label(role).lower()} at {site.name}.")
    return redirect("person", someone.code)


def _invitation(request: MemberRequest, code: str) -> HttpResponse:
    """The link is in this answer and nowhere else: only its digest is kept, so that nothing could show it again."""
    someone = person_at_own_site(request.user, code)
    secret = invite(someone, by=request.user)
    link = request.build_absolute_uri(reverse("invitation", args=[secret]))
    return render(request, "registry/administration/invitation.html", {"person": someone, "link": link})


@require_http_methods(["GET", "POST"])
@page("person")
def person(request: MemberRequest, code: str) -> HttpResponse:
    """One person: their roles at one's sites, and their account where one answers for all of it."""
    someone = person_at_own_site(request.user, code)
    form = RoleForm(sites_for(request.user, "person").order_by("code"))
    refusal, status = "", 200
    if request.method == "POST":
        status = 422
        if request.POST.get("act") == "give":
            form = RoleForm(sites_for(request.user, "person").order_by("code"), request.POST)
        try:
            answer = _done(request, code, form)
            if answer is not None:
                return answer
        except NotSaved as refused:
            refusal = raised(f"{refused}.")
    context = {
        "form": form,
        "standing": standing(someone, request.user),
        "refusal": refusal,
        "typed_code": request.POST.get("staff_code", ""),
    }
    return render(request, "registry/administration/person.html", context, status=status)


def _done(request: MemberRequest, code: str, form: RoleForm) -> HttpResponse | None:
    """What one button of the page asks for; None where the form is wrong."""
    someone = person_at_own_site(request.user, code)
    act = request.POST.get("act")
    if act == "invite":
        return _invitation(request, code)
    if act == "give":
        if not form.is_valid():
            return None
        site = sites_for(request.user, "person").get(code=form.cleaned_data["site"])
        role = Role(form.cleaned_data["role"])
        give_role(someone.email, site, role, by=request.user)
        messages.success(request, f"{someone} is now {role_label(role).lower()} at {site.name}.")
    elif act == "take":
        _take(request, code)
    elif act in ("link", "unlink"):
        _staff_code(request, code, act)
    elif act in ("activate", "deactivate"):
        set_active(someone, act == "activate", by=request.user)
        state = (
            "active again" if act == "activate" else "deactivated; its sessions and invitations have ended"
        )
        messages.success(request, f"The account of {someone} is {state}.")
    else:
        raise NotSaved(
            "this page gives and takes roles and staff codes, invites, activates and deactivates; choose one"
        )
    return redirect("person", code) if may_enter(request.user, "person") else redirect("home")


def _take(request: MemberRequest, code: str) -> None:
    someone = person_at_own_site(request.user, code)
    site_code, _, role = request.POST.get("role", "").rpartition("/")
    site = sites_for(request.user, "person").filter(code=site_code).first()
    if site is None or role not in list(Role):
        raise NotSaved("this is not a role at one of your sites")
    take_role(someone, site, Role(role), by=request.user)
    messages.success(request, f"{someone} is no longer {role_label(role).lower()} at {site.name}.")


def _staff_code(request: MemberRequest, code: str, act: str) -> None:
    someone = person_at_own_site(request.user, code)
    site_code, _, staff_code = request.POST.get("staff", "").partition("/")
    site = sites_for(request.user, "person").filter(code=site_code).first()
    if site is None:
        raise NotSaved("choose one of your sites")
    if act == "link":
        staff_code = request.POST.get("staff_code", "")
        link_staff_code(someone, site, staff_code, by=request.user)
        messages.success(request, f"{staff_code.strip()} at {site.name} is now {someone}.")
    else:
        unlink_staff_code(someone, site, staff_code, by=request.user)
        messages.success(request, f"{staff_code} at {site.name} is no longer {someone}.")

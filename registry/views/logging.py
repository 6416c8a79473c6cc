"""Logging a case: beginning, the page of a draft, discarding, and changing a case that is there."""

from __future__ import annotations

import secrets
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from registry.access import case_for, sites_for
from registry.doors import MemberRequest, nothing_lost, page
from registry.forms import draft_page
from registry.forms.draft_edit import UNDO, DraftEdit
from registry.forms.draft_level import ASK, MINE, THEIRS, Level
from registry.forms.still_open import Open, field_at, label_of_field, sentence
from registry.reading.model_names import model_names
from registry.recording.change import NotSaved
from registry.recording.checking import Refused
from registry.recording.draft_saving import bring_level, is_behind, submit_draft
from registry.recording.drafts import (
    KEEP,
    Answer,
    Clash,
    OpenDraft,
    Sent,
    begin_amendment,
    begin_draft,
    discard_draft,
    drafts_of,
    kept,
    opened_draft,
)

NO_CONTENT, SEE_OTHER, CONFLICT, UNPROCESSABLE, UNAVAILABLE = 204, 303, 409, 422, 503
_WORDS = 300


@require_http_methods(["GET", "POST"])
@page("log_case")
def log_case(request: MemberRequest) -> HttpResponse:
    """Begin a case at one of the person's sites, or go on with a draft."""
    sites = list(sites_for(request.user, "log_case").order_by("name"))
    if request.method == "POST":
        site = next((site for site in sites if site.code == request.POST.get("site")), None)
        if site is not None:
            return _to(begin_draft(site, request.user))
        return _begin(request, sites, "Choose one of your sites.", UNPROCESSABLE)
    return _begin(request, sites)


def _begin(request: MemberRequest, sites: list[Any], wrong: str = "", status: int = 200) -> HttpResponse:
    drafts = [
        {
            "code": draft.code,
            "site_name": draft.site_name,
            "case": draft.case,
            "changed_at": draft.changed_at,
            "time_zone": draft.time_zone,
            "title": draft_page.heading(draft.text.document),
        }
        for draft in drafts_of(request.user)
    ]
    return render(
        request, "registry/log_case.html", {"sites": sites, "drafts": drafts, "wrong": wrong}, status=status
    )


def _to(code: str, at: str = "") -> HttpResponseRedirect:
    query = f"?{urlencode({'at': at})}" if at else ""
    return HttpResponseRedirect(reverse("draft", args=[code]) + query, status=SEE_OTHER)


@require_http_methods(["GET", "POST"])
@page("draft")
def draft(request: MemberRequest, code: str) -> HttpResponse:
    """The page of a draft; what is sent is kept, and one operation done."""
    if request.method == "GET":
        return _shown(request, opened_draft(request.user, code), focus=request.GET.get("at", ""))
    sent, words = _sent(request)
    edit = DraftEdit(dict(request.POST.lists()), words)
    try:
        answer = kept(request.user, code, sent, edit)
    except Clash as clash:
        return _clash(request, code, clash, words)
    except NotSaved as refused:
        return nothing_lost(request, UNAVAILABLE, str(refused))
    if answer.late:
        return HttpResponse(status=NO_CONTENT)
    name, *rest = words.split()
    if name == "save":
        return _save(request, answer.draft, rest)
    if name == "theirs":
        return _level(request, answer.draft, Level(THEIRS))
    return _answered(request, sent, edit, answer)


def _sent(request: MemberRequest) -> tuple[Sent, str]:
    """What the page says of itself, and the operation without what only the page needs to know."""
    post = request.POST
    words = post.get("do", "").strip()[:_WORDS] or KEEP
    mine = words == "mine" or words.startswith("mine ")
    words = words.removeprefix("mine").strip() or KEEP if mine else words
    if words.startswith("pick "):
        words = _picked(words.removeprefix("pick "), post.get(words, ""))
    return (
        Sent(
            _number(post.get("version", "")) or 0,
            post.get("page", "")[:32],
            _number(post.get("turn", "")),
            post.get("once", "")[:32],
            words,
            mine,
        ),
        words,
    )


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 9 else None


def _picked(words: str, value: str) -> str:
    """The operation of a list: `injury-after C1 7` takes the injury's kind between its words."""
    if not value:
        return "nothing chosen"
    if words.startswith("injury-after "):
        _, place, key = words.split()[:3]
        return f"injury {place} {value} {key}"
    return f"{words} {value}"


def _answered(request: MemberRequest, sent: Sent, edit: DraftEdit, answer: Answer) -> HttpResponse:
    wrong = bool(edit.refused or (edit.messages and sent.operation != KEEP))
    status = UNPROCESSABLE if wrong else 200
    if request.headers.get("HX-Request"):
        old_layout = sent.version < answer.draft.layout
        if sent.operation == KEEP and not old_layout:
            response = render(request, "registry/_kept.html", {"page": _page(answer.draft, sent.page)})
            response["HX-Retarget"], response["HX-Reswap"] = "#kept", "outerHTML"
            return response
        return _part(request, answer.draft, sent.page, edit, status)
    if wrong:
        return _shown(request, answer.draft, focus=edit.focus, trouble=edit.refused, status=status)
    return _to(answer.draft.code, edit.focus)


def _part(
    request: MemberRequest, kept_draft: OpenDraft, name: str, edit: DraftEdit, status: int, **more: Any
) -> HttpResponse:
    """The editor, with what is kept, said and wrong put in their places outside it."""
    context = _page(kept_draft, name, **{"trouble": edit.refused, **more})
    context |= {"focus_of_part": edit.focus, "said": edit.said, "editor": _editor(kept_draft)}
    response = HttpResponse(
        render_to_string("registry/_part.html", {"page": context}, request=request), status=status
    )
    response["HX-Retarget"], response["HX-Reswap"] = "#editor", "outerHTML"
    return response


def _page(shown: OpenDraft, name: str = "", **more: Any) -> dict[str, Any]:
    """What every part of the page knows."""
    steps = shown.text.steps
    unread = draft_page.unread(shown.text.document, shown.text.typed)
    return {
        "draft": shown,
        "address": reverse("draft", args=[shown.code]),
        "marks": static("registry/marks.svg"),
        "page": name or secrets.token_hex(16),
        "once": secrets.token_hex(16),
        "unread": list(unread.values()),
        "undo": {"do": f"{UNDO} {steps[-1].version}", "said": steps[-1].said} if steps else None,
        "heading": f"Change case {shown.case}" if shown.case else "Log a case",
        "short": shown.text.document.get("status") == "short",
        "focus": "",
        "said": "",
        **more,
    }


def _editor(shown: OpenDraft) -> draft_page.EditorView:
    text = shown.text
    typed = draft_page.Typed(text.typed, draft_page.unread(text.document, text.typed))
    return draft_page.editor_view(text.document, typed, text.opened, shown.today, model_names(text.document))


def _shown(request: MemberRequest, shown: OpenDraft, status: int = 200, **more: Any) -> HttpResponse:
    context = _page(shown, **more) | {"editor": _editor(shown), "reason": request.POST.get("reason", "")}
    if request.headers.get("HX-Request"):
        edit = DraftEdit({}, KEEP)
        name = request.POST.get("page", "")
        return _part(request, shown, name, edit, status, **more)
    return render(request, "registry/draft.html", {"page": context}, status=status)


def _clash(request: MemberRequest, code: str, clash: Clash, words: str) -> HttpResponse:
    """409: the fields that both pages changed, with both values; the operation that was pressed travels on."""
    left_out = ("csrfmiddlewaretoken", "do")
    context = {
        "fields": clash.fields,
        "operation": words,
        "address": reverse("draft", args=[code]),
        "sent": [
            (name, value) for name, values in request.POST.lists() if name not in left_out for value in values
        ],
    }
    if request.headers.get("HX-Request"):
        response = render(request, "registry/_clash.html", {"clash": context}, status=CONFLICT)
        response["HX-Retarget"], response["HX-Reswap"] = "#trouble", "innerHTML"
        return response
    return render(request, "registry/clash.html", {"clash": context}, status=CONFLICT)


def _save(request: MemberRequest, shown: OpenDraft, words: list[str]) -> HttpResponse:
    """Save the case, its draft brought level first; `mine` where that was asked about and answered so."""
    level = Level(MINE if MINE in words else ASK)
    status = next((word for word in words if word != MINE), None)
    reason = request.POST.get("reason", "")[:500]
    try:
        if level.prefer == MINE and is_behind(request.user, shown.code):
            bring_level(request.user, shown.code, level)
            if level.lost:
                return _not_kept(request, shown.code, level)
        case = submit_draft(request.user, shown.code, merge=level, status=status, reason=reason)
    except Clash as clash:
        asked = {"fields": clash.fields, "save": " ".join(["save", *words])}
        # A script sends again what met 409, since it was not kept; here it was, and the case alone is asked about.
        status_code = UNPROCESSABLE if request.headers.get("HX-Request") else CONFLICT
        return _shown(request, clash.theirs or shown, case_clash=asked, status=status_code)
    except Refused as refused:
        says = "The case is not saved yet: the draft is kept, and these places need you."
        shown = opened_draft(request.user, shown.code)
        places = [_place(shown, finding) for finding in refused.findings]
        return _shown(request, shown, trouble=_also_level(says, level), places=places, status=UNPROCESSABLE)
    except NotSaved as refused:
        shown = opened_draft(request.user, shown.code)
        says = _also_level(f"Not saved: {refused}.", level)
        return _shown(request, shown, trouble=says, status=UNPROCESSABLE)
    messages.success(request, _also_level(f"Saved as case {case.code}.", level))
    address = reverse("case", args=[case.code])
    if request.headers.get("HX-Request"):
        return HttpResponse(status=200, headers={"HX-Redirect": address})
    return HttpResponseRedirect(address, status=SEE_OTHER)


def _also_level(says: str, level: Level) -> str:
    return f"{says} What was changed in the case meanwhile is in it." if level.merged else says


def _level(request: MemberRequest, shown: OpenDraft, level: Level) -> HttpResponse:
    """The draft with what now stands in its case, theirs where they differ; nothing is saved."""
    try:
        bring_level(request.user, shown.code, level)
    except NotSaved as refused:
        return _shown(request, shown, trouble=f"Nothing was changed: {refused}.", status=UNPROCESSABLE)
    says = "This draft now shows the case as it stands, with your other changes. Nothing is saved yet."
    return _shown(request, opened_draft(request.user, shown.code), trouble=says)


def _not_kept(request: MemberRequest, code: str, level: Level) -> HttpResponse:
    """Not saved, since something of mine could not stand: named with what it said."""
    says = "Not saved yet. The draft is level with the case; of yours this could not stand, and is to be said anew."
    places = [Open(f"{one.label}: {one.mine}", f"open {one.name}") for one in level.lost]
    return _shown(
        request, opened_draft(request.user, code), trouble=says, places=places, status=UNPROCESSABLE
    )


def _place(shown: OpenDraft, finding: Any) -> Open:
    name = field_at(shown.text.document, finding.path)
    label = label_of_field(shown.text.document, name)
    if finding.value is None:
        return Open(f"{label} is needed.", f"open {name}")
    return Open(f"{label}: {sentence(finding)}", f"open {name}")


@require_POST
@page("discard_draft")
def discard(request: MemberRequest, code: str) -> HttpResponse:
    """Delete a draft of one's own."""
    discard_draft(request.user, code)
    messages.success(request, "The draft is discarded.")
    return redirect("log_case")


@require_POST
@page("amend_case")
def amend(request: MemberRequest, code: str) -> HttpResponse:
    """Begin a change of a case that is there, or go on with it."""
    case = case_for(request.user, "amend_case", code)
    try:
        return _to(begin_amendment(case, request.user))
    except NotSaved as refused:
        messages.error(request, f"This case cannot be changed: {refused}.")
        return redirect("case", code)

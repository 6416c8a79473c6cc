"""What needs somebody today, from the record: drafts, duties and plans due, monthly words that are missing."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field

from django.urls import reverse
from django.utils import timezone

from registry.access import sites_for
from registry.models import Draft, Duty, MonthlyReturn, Person, PlanDrug, Site
from registry.terms import COUNTED_STATES
from registry.vocabulary import word_list

AHEAD = 14


@dataclass(frozen=True, slots=True)
class Need:
    """One row: when and in what state, what and by which rule, and the one act that is right."""

    when: str
    state: str
    what: str
    why: str
    address: str = ""
    act: str = ""


@dataclass(frozen=True, slots=True)
class NeedGroup:
    """Rows under one heading."""

    title: str
    rows: list[Need]


@dataclass(frozen=True, slots=True)
class Needs:
    """All of it, with a sentence that sums it up."""

    summary: str
    groups: list[NeedGroup] = field(default_factory=list)


def needs_you(person: Person, today: datetime.date) -> Needs:
    """What is late, due within two weeks, or missing, at the person's sites."""
    sites = list(sites_for(person, "cases"))
    late, soon = (
        _duties(sites, today, lambda due: due <= today),
        _duties(sites, today, lambda due: due > today),
    )
    plans, returns = _plans(sites, today), _returns(person, sites, today)
    titled = (
        ("Late, or due today", late),
        ("Drafts, kept for you", _drafts(person)),
        ("In the next two weeks", [*soon, *plans]),
        ("Monthly words that are missing", returns),
    )
    groups = [NeedGroup(title, rows) for title, rows in titled if rows]
    return Needs(_summary(len(late), len(soon) + len(plans), len(returns)), groups)


def _duties(sites: list[Site], today: datetime.date, wanted: Callable[[datetime.date], bool]) -> list[Need]:
    open_ones = (
        Duty.objects.filter(
            case__site__in=sites,
            case__state__in=COUNTED_STATES,
            done_earliest=None,
            due_latest__lte=today + datetime.timedelta(days=AHEAD),
        )
        .exclude(decided__in=("not_owed", "met"))
        .select_related("case", "owner")
        .order_by("due_latest", "id")
    )
    kinds = word_list("duty_kind")
    return [
        Need(
            when=f"{duty.due_latest:%-d %b %Y}",
            state=_state(duty.due_latest, today),
            what=f"Duty: {kinds[duty.kind].label.lower() if duty.kind else 'kind not recorded'}",
            why=f"Case {duty.case.code}. Owner: {duty.owner.code if duty.owner else 'nobody yet'}.",
            address=reverse("case", args=[duty.case.code]),
            act="Open the case",
        )
        for duty in open_ones
        if duty.due_latest is not None and wanted(duty.due_latest)
    ]


def _drafts(person: Person) -> list[Need]:
    """A person's own drafts, told by what stands in the clear."""
    mine = Draft.objects.filter(person=person, site__in=sites_for(person, "draft")).select_related(
        "site", "case"
    )
    return [
        Need(
            when=f"{timezone.localtime(draft.changed_at):%-d %b %Y, %H:%M}",
            state="last kept",
            what=f"A change of case {draft.case.code}" if draft.case else f"A case at {draft.site.name}",
            why="Only you can open it; nothing of it counts until you save it.",
            address=reverse("draft", args=[draft.code]),
            act="Go on",
        )
        for draft in mine.order_by("-changed_at", "-pk")
    ]


def _state(due: datetime.date, today: datetime.date) -> str:
    days = (due - today).days
    if days < 0:
        return f"{-days} day{'s' if days < -1 else ''} late"
    return "due today" if days == 0 else f"in {days} day{'s' if days > 1 else ''}"


def _plans(sites: list[Site], today: datetime.date) -> list[Need]:
    due = PlanDrug.objects.filter(
        case__site__in=sites,
        case__state__in=COUNTED_STATES,
        do_not_stop_before_earliest__gt=today,
        do_not_stop_before_earliest__lte=today + datetime.timedelta(days=AHEAD),
    ).select_related("case")
    agents = word_list("agent")
    return [
        Need(
            when=f"{drug.do_not_stop_before_earliest:%-d %b %Y}",
            state=_state(drug.do_not_stop_before_earliest, today),
            what="Antiplatelet review",
            why=f"Case {drug.case.code}: {agents[drug.agent].label.lower() if drug.agent else 'a drug'}, not to be "
            "stopped before this day.",
            address=reverse("case", args=[drug.case.code]),
            act="Open the plan",
        )
        for drug in due.order_by("do_not_stop_before_earliest", "id")
        if drug.do_not_stop_before_earliest is not None
    ]


def _returns(person: Person, sites: list[Site], today: datetime.date) -> list[Need]:
    """The silent ones of the last twelve whole months, with a link to the first for those who may give it."""
    gives = set(sites_for(person, "returns_month"))
    months = []
    first = today.replace(day=1)
    for _ in range(12):
        first = (first - datetime.timedelta(days=1)).replace(day=1)
        months.append(first)
    given = set(
        MonthlyReturn.objects.filter(site__in=sites, month__in=months).values_list("site_id", "month")
    )
    rows = []
    for site in sites:
        silent = [month for month in reversed(months) if (site.pk, month) not in given]
        if silent:
            first = silent[0]
            rows.append(
                Need(
                    when="Returns",
                    state=f"{len(silent)} month{'s' if len(silent) > 1 else ''} silent",
                    what=f"{site.name}: {', '.join(f'{month:%B %Y}' for month in silent)}",
                    why="A silent month is not a zero: it is left out of every rate per 1,000 procedures.",
                    address=reverse("returns_month", args=[site.code, f"{first:%Y-%m}"])
                    if site in gives
                    else "",
                    act=f"Give {first:%B %Y}",
                )
            )
    return rows


def _summary(late: int, soon: int, returns: int) -> str:
    parts = [
        f"{late} late or due today" if late else "Nothing is late or due today",
        f"{soon} in the next two weeks" if soon else "nothing in the next two weeks",
    ]
    if returns:
        parts.append("some monthly returns are missing")
    return "; ".join(parts) + "."

"""What needs somebody today, from the record: drafts, duties and plans due, monthly returns that are missing."""

from __future__ import annotations

import datetime
import zoneinfo
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.urls import reverse
from django.utils import timezone

from registry.access import scope_for, sites_for
from registry.drawings.phrases import counted, raised
from registry.models import Case, Draft, Duty, MonthlyReturn, Person, PlanDrug, Site
from registry.reading.administration import last_months
from registry.reading.owed import months_of_beginning
from registry.terms import COUNTED_STATES
from registry.vocabulary import word_list

AHEAD = 14
MOST = 8
"""Rows of one kind under a heading; a longer list hides what is near, and has a page of its own."""
PAGE = 50
COUNTED_TO = 1_000
DUE = {
    "late": "All that is late or due today",
    "duties": "All duties of the next two weeks",
    "plans": "All antiplatelet plans to be looked at in the next two weeks",
}
"""The lists that have a page of their own, by their place in its address, with their titles."""


@dataclass(frozen=True, slots=True)
class Need:
    """One row: when and in what state, what and by which rule, and the one act that is right."""

    when: str
    state: str
    what: str
    why: str
    mark: str
    address: str = ""
    act: str = ""


@dataclass(frozen=True, slots=True)
class NeedGroup:
    """Rows under one heading."""

    title: str
    rows: list[Need]
    whole: tuple[str, ...] = ()
    """Those of `DUE` that are not shown to their end."""

    @property
    def links(self) -> list[tuple[str, str]]:
        """Addresses and words of the pages that show all."""
        return [(reverse("due", args=[which]), DUE[which]) for which in self.whole]


@dataclass(frozen=True, slots=True)
class DuePage:
    """One page of such a list: its title, its rows, and whether more follow."""

    title: str
    rows: list[Need]
    more: bool


@dataclass(frozen=True, slots=True)
class Needs:
    """All of it, with a sentence that sums it up."""

    summary: str
    groups: list[NeedGroup] = field(default_factory=list)


def needs_you(person: Person, today: datetime.date) -> Needs:
    """What is late, due within two weeks, or missing, at the person's sites."""
    sites = list(sites_for(person, "cases"))
    late, duties, plans = _late(sites, today), _soon(sites, today), _plans(sites, today)
    shown = _duties(late.reverse()[:MOST], person, today)
    duties_shown, plans_shown = _duties(duties[:MOST], person, today), _reviews(plans[:MOST], today)
    number, of_duties, of_plans = (
        _number_of(due, rows) for due, rows in ((late, shown), (duties, duties_shown), (plans, plans_shown))
    )
    coming, expected = [*duties_shown, *plans_shown], of_duties + of_plans
    returns = _returns(person, sites, today)
    first = f"Late, or due today{_of_all(len(shown), number, ', the latest first')}"
    then = f"In the next two weeks{_of_all(len(coming), expected)}"
    groups = [
        NeedGroup(first, shown, _cut(late=number)),
        NeedGroup("Drafts, kept for you", _drafts(person)),
        NeedGroup(then, coming, _cut(duties=of_duties, plans=of_plans)),
        NeedGroup("Monthly returns that are missing", returns),
    ]
    return Needs(_summary(number, expected, len(returns)), [group for group in groups if group.rows])


def _cut(**numbers: int) -> tuple[str, ...]:
    """Those of these lists, each with its number, that are longer than what is shown."""
    return tuple(which for which, number in numbers.items() if number > MOST)


def all_due(person: Person, today: datetime.date, which: str, page: int) -> DuePage:
    """A page, from 1, of one of the lists of `DUE` to its end, what is due first before what is due later."""
    sites = list(sites_for(person, "cases"))
    start = PAGE * (page - 1)
    part = slice(start, start + PAGE + 1)
    if which == "plans":
        rows = _reviews(_plans(sites, today)[part], today)
    else:
        rows = _duties((_late if which == "late" else _soon)(sites, today)[part], person, today)
    return DuePage(DUE[which], rows[:PAGE], len(rows) > PAGE)


def _number_of(due: QuerySet[Any], shown: list[Need]) -> int:
    """How many there are, counted no further than is told."""
    return len(shown) if len(shown) < MOST else due.order_by()[: COUNTED_TO + 1].count()


def _of_all(shown: int, count: int, order: str = "") -> str:
    return f": {shown} of {_number(count)}{order}" if shown < count else ""


def _number(count: int) -> str:
    return str(count) if count <= COUNTED_TO else f"more than {COUNTED_TO:,}"


def _counted_cases(sites: list[Site]) -> Exists:
    """Asked of each row, so that the database goes by the day that is due and stops at the last row shown."""
    return Exists(Case.objects.filter(pk=OuterRef("case"), site__in=sites, state__in=COUNTED_STATES))


def _owed(sites: list[Site]) -> QuerySet[Duty]:
    open_ones = Duty.objects.filter(_counted_cases(sites), done_earliest=None)
    return open_ones.exclude(decided__in=("not_owed", "met")).select_related("case", "owner")


def _late(sites: list[Site], today: datetime.date) -> QuerySet[Duty]:
    return _owed(sites).filter(due_latest__lte=today).order_by("due_latest", "id")


def _soon(sites: list[Site], today: datetime.date) -> QuerySet[Duty]:
    ahead = today + datetime.timedelta(days=AHEAD)
    return _owed(sites).filter(due_latest__gt=today, due_latest__lte=ahead).order_by("due_latest", "id")


def _duties(owed: QuerySet[Duty], person: Person, today: datetime.date) -> list[Need]:
    kinds = word_list("duty_kind")
    return [
        Need(
            when=f"{duty.due_latest:%-d %b %Y}",
            state=_state(duty.due_latest, today),
            mark="late" if duty.due_latest < today else "due",
            what=f"Duty: {kinds[duty.kind].label.lower() if duty.kind else 'kind not recorded'}",
            why=f"Case {duty.case.code}. Owner: {_owner(duty, person)}.",
            address=reverse("case", args=[duty.case.code]),
            act="Open the case",
        )
        for duty in owed
        if duty.due_latest is not None
    ]


def _owner(duty: Duty, person: Person) -> str:
    if duty.owner is None:
        return "nobody yet"
    return "you" if duty.owner.person_id == person.pk else duty.owner.code


def _drafts(person: Person) -> list[Need]:
    """A person's own drafts, told by what stands in the clear."""
    mine = Draft.objects.filter(person=person, site__in=sites_for(person, "draft")).select_related(
        "site", "case"
    )
    return [
        Need(
            when=f"{timezone.localtime(draft.changed_at, zoneinfo.ZoneInfo(draft.site.time_zone)):%-d %b %Y, %H:%M}",
            state="last kept",
            mark="draft",
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
        return f"{counted(-days, 'day', 'days')} late"
    return f"in {counted(days, 'day', 'days')}" if days else "due today"


def _plans(sites: list[Site], today: datetime.date) -> QuerySet[PlanDrug]:
    due = PlanDrug.objects.filter(
        _counted_cases(sites),
        do_not_stop_before_earliest__gt=today,
        do_not_stop_before_earliest__lte=today + datetime.timedelta(days=AHEAD),
    )
    return due.select_related("case").order_by("do_not_stop_before_earliest", "id")


def _reviews(due: QuerySet[PlanDrug], today: datetime.date) -> list[Need]:
    agents = word_list("agent")
    return [
        Need(
            when=f"{drug.do_not_stop_before_earliest:%-d %b %Y}",
            state=_state(drug.do_not_stop_before_earliest, today),
            mark="due",
            what="Antiplatelet review",
            why=f"Case {drug.case.code}: {agents[drug.agent].label.lower() if drug.agent else 'a drug'}, not to be "
            "stopped before this day.",
            address=reverse("case", args=[drug.case.code]),
            act="Open the plan",
        )
        for drug in due
        if drug.do_not_stop_before_earliest is not None
    ]


def _returns(person: Person, sites: list[Site], today: datetime.date) -> list[Need]:
    """The silent ones of the last twelve whole months that are owed, with a link to the first for who may give it."""
    gives = scope_for(person, "returns_month").sites or frozenset()
    months = last_months(today, 13)[1:]
    given = set(
        MonthlyReturn.objects.filter(site__in=sites, month__in=months).values_list("site_id", "month")
    )
    begun = months_of_beginning([site.code for site in sites])
    rows = []
    for site in sites:
        silent = [
            month
            for month in reversed(months)
            if (site.pk, month) not in given and month >= begun.get(site.code, today)
        ]
        if silent:
            first = silent[0]
            rows.append(
                Need(
                    when="Returns",
                    state=f"{counted(len(silent), 'month', 'months')} silent",
                    mark="missing",
                    what=f"{site.name}: {', '.join(f'{month:%B %Y}' for month in silent)}",
                    why="A silent month is not a zero: it is left out of every rate per 1,000 procedures.",
                    address=reverse("returns_month", args=[site.code, f"{first:%Y-%m}"])
                    if site.pk in gives
                    else "",
                    act=f"Give {first:%B %Y}",
                )
            )
    return rows


def _late_things(late: int) -> str:
    if late > COUNTED_TO:
        return f"{raised(_number(late))} things are"
    return counted(late, "thing is", "things are")


def _summary(late: int, soon: int, returns: int) -> str:
    parts = [
        f"{_late_things(late)} late or due today" if late else "Nothing is late or due today",
        f"{_number(soon)} in the next two weeks" if soon else "nothing in the next two weeks",
    ]
    if returns:
        parts.append("some monthly returns are missing")
    return "; ".join(parts) + "."

"""A page of cases, newest first, by keyset: the same few statements for any page and any number of cases."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from registry.access import sites_for
from registry.drawings.phrases import lowered, named, raised
from registry.models import Action, Case, Complication, Lesion, Person
from registry.partial_dates import Span
from registry.public_codes import tidied
from registry.reading.filters import Choice, Filters
from registry.reading.titles import title_in_words, where_of
from registry.reading.words import span_in_words
from registry.terms import CaseState

PAGE = 25
COUNTED_TO = 1_000


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of one attempt: the mark's name, and the word beside it."""

    result: str
    word: str


@dataclass(frozen=True, slots=True)
class State:
    """What is not usual about a case: the name of its shape, and its word."""

    shape: str
    word: str


@dataclass(frozen=True, slots=True)
class CaseRow:
    """One case of the list."""

    code: str
    title: str
    site: str
    document_id: str
    date: str
    ending: str
    attempts: list[Tried]
    states: list[State]


@dataclass(frozen=True, slots=True)
class CaseList:
    """A page of the list; `after` marks where the next begins, `""` where there is none; `total` is in words."""

    rows: list[CaseRow]
    total: str
    after: str


def sites_to_list(person: Person) -> list[Choice]:
    """The sites whose cases a person may list."""
    return [Choice(site.code, site.name) for site in sites_for(person, "cases").order_by("name")]


def cases_page(person: Person, filters: Filters) -> CaseList:
    """The cases of a person's sites that meet the filters; they are counted on the first page only, up to 1,000."""
    found = _filtered(Case.objects.filter(site__in=sites_for(person, "cases")), filters)
    most = PAGE + 1 if filters.after else COUNTED_TO + 1
    keys = list(_from(found, filters).values_list("pk", flat=True)[:most])
    cases = list(
        Case.objects.filter(pk__in=keys[:PAGE])
        .select_related("site")
        .only(
            "code",
            "document_id",
            "site__name",
            "procedure_date_earliest",
            "procedure_date_latest",
            "state",
            "status",
            "erased",
        )
        .order_by("-procedure_date_earliest", "-code")
    )
    last = cases[-1] if len(keys) > PAGE else None
    return CaseList(
        rows=_rows(cases),
        total="" if filters.after else _total(len(keys)),
        after="" if last is None else f"{last.procedure_date_earliest}_{last.code}",
    )


def _total(number: int) -> str:
    if number > COUNTED_TO:
        return f"more than {COUNTED_TO:,} cases"
    return f"{number:,} {'case' if number == 1 else 'cases'}" if number else "no case"


def _filtered(cases: QuerySet[Case], filters: Filters) -> QuerySet[Case]:
    """Periods are inclusive; a partly known date is inside where all that it may mean is (R13)."""
    if site := filters.holds("site"):
        cases = cases.filter(site__code=site)
    if filters.since:
        cases = cases.filter(procedure_date_earliest__gte=filters.since)
    if filters.until:
        cases = cases.filter(procedure_date_latest__lte=filters.until)
    if state := filters.holds("state"):
        cases = cases.filter(state=state)
    if status := filters.holds("status"):
        # A record that does not say so is a full one.
        cases = cases.filter(Q(status=status) | Q(status=None) if status == "full" else Q(status=status))
    if text := filters.holds("q"):
        cases = cases.filter(_named(text))
    columns = {"device": "device_class", "situation": "situation", "ending": "ending"}
    wanted = {column: value for name, column in columns.items() if (value := filters.holds(name))}
    if wanted:
        cases = cases.filter(pk__in=Complication.objects.filter(**wanted).values("case_id"))
    return cases


def _named(text: str) -> Q:
    """By the whole public code however it is typed, the beginning of one, or a part of the site's own identifier."""
    try:
        return Q(code=tidied(text)) | Q(document_id__icontains=text)
    except ValueError:
        return Q(code__startswith=text.upper()) | Q(document_id__icontains=text)


def _from(cases: QuerySet[Case], filters: Filters) -> QuerySet[Case]:
    """In order, from the first case after the one at which the page before ended."""
    if filters.after:
        day, code = filters.after
        cases = cases.filter(procedure_date_earliest__lte=day).filter(
            Q(procedure_date_earliest__lt=day) | Q(code__lt=code)
        )
    return cases.order_by("-procedure_date_earliest", "-code")


def _rows(cases: Sequence[Case]) -> list[CaseRow]:
    keys = [case.pk for case in cases]
    complications = _by_case(
        Complication.objects.filter(case__in=keys).order_by("case_id", "index"),
        ("situation", "device_class", "segments", "places", "lesion", "ending"),
    )
    lesions = _by_case(
        Lesion.objects.filter(case__in=keys).order_by("case_id", "index"),
        ("ref", "segments", "places", "graft_type"),
    )
    attempts = _by_case(
        Action.objects.filter(case__in=keys, ends_attempt=True).order_by(
            "case_id", "complication__index", "position"
        ),
        ("attempt_result",),
    )
    return [_row(case, complications[case.pk], lesions[case.pk], attempts[case.pk]) for case in cases]


Values = Mapping[str, Any]


def _by_case(rows: QuerySet[Any], columns: tuple[str, ...]) -> Mapping[int, list[Values]]:
    found: dict[int, list[Values]] = defaultdict(list)
    for values in rows.values("case_id", *columns):
        found[values["case_id"]].append(values)
    return found


def _row(case: Case, complications: list[Values], lesions: list[Values], attempts: list[Values]) -> CaseRow:
    first = complications[0]
    places = [{**lesion, "graft": lesion["graft_type"]} for lesion in lesions]
    endings = dict.fromkeys(lowered(named("ending", one["ending"], "ending")) for one in complications)
    results = [values["attempt_result"] or "unknown" for values in attempts]
    return CaseRow(
        code=case.code,
        title=title_in_words(
            first["situation"], first["device_class"], where_of(first, places), others=len(complications) - 1
        ),
        site=case.site.name,
        document_id=case.document_id,
        date=span_in_words(Span(case.procedure_date_earliest, case.procedure_date_latest)),
        ending=raised("; ".join(endings)),
        attempts=[Tried(result, lowered(named("result", result, "result"))) for result in results],
        states=states_of(case),
    )


def states_of(case: Case) -> list[State]:
    """What is not usual about a case: withdrawn, locked, a short record, erased."""
    found = {
        State("withdrawn", "withdrawn, counts nowhere"): case.state == CaseState.WITHDRAWN,
        State("locked", "locked"): case.state == CaseState.LOCKED,
        State("short", "short record"): case.status == "short",
        State("erased", "identifying fields and notes were erased"): case.erased,
    }
    return [state for state, holds in found.items() if holds]

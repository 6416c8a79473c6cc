"""The only place that queries: whose cases and which days in, small tables of counts out.

Nothing is counted without a `Scope`, which has no default. The database counts, on the derived columns; no statistics
here. The rules (R2 to R13) are stated in DEVELOPERS.md.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace
from typing import Any, NamedTuple, TypeVar

from django.db import connection
from django.db.models import (
    Case,
    Count,
    Exists,
    F,
    Max,
    Min,
    Model,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from analytics.answers import Reason
from analytics.filters import Filters
from registry.access import Scope
from registry.ladder import RESULTS_OF_RESCUE
from registry.models import (
    Action,
    Complication,
    DeclinedOption,
    DeviceModel,
    DeviceUse,
    MonthlyReturn,
    StaffRole,
)
from registry.recording.snapshot import snapshot
from registry.terms import CLOSED, UNKNOWN, Cause, Reporting, Result

Row = dict[str, Any]
Table = list[Row]
"""Rows sorted by their keys: an empty key first, texts by code point, numbers as numbers."""

_looking: ContextVar[bool] = ContextVar("looking", default=False)


@contextmanager
def at_one_moment() -> Iterator[None]:
    """All queries inside see the same record, whatever is saved meanwhile: else parts might not add up.

    Inside another such moment, or a transaction of the caller's, that one stands.
    """
    if _looking.get() or connection.in_atomic_block:
        yield
        return
    began = _looking.set(True)
    try:
        with snapshot():
            yield
    finally:
        _looking.reset(began)


AnyModel = TypeVar("AnyModel", bound=Model)


def _in_scope(rows: QuerySet[AnyModel], scope: Scope) -> QuerySet[AnyModel]:
    return rows if scope.sites is None else rows.filter(site__in=scope.sites)


def _sorted(rows: Iterable[Any], keys: Sequence[str]) -> Table:
    # No code is an empty text and no number among the keys is empty, so an empty text stands for an empty key.
    return sorted(rows, key=lambda row: ["" if row[key] is None else row[key] for key in keys])


class _Number(Count):
    """A count as the database gives it, a whole number already: Django would convert each one once more."""

    def get_db_converters(self, connection: Any) -> list[Any]:
        return []


def _number(condition: Q) -> Count:
    # Of a constant: counting a column would read it, and Django has no filter on COUNT(*).
    return _Number(Value(1), filter=condition)


_KNOWN, _RESOLVED = ~Q(attempt_result=Result.UNKNOWN), Q(attempt_result=Result.RESOLVED)
# Some of the results have the name of a column, so they are asked for under another.
_OF_ATTEMPTS = {f"as_{result}": _number(Q(attempt_result=result)) for result in sorted(RESULTS_OF_RESCUE)} | {
    "attempts": _number(_KNOWN),
    "resolved_with_injury": _number(_RESOLVED & Q(with_injury=True)),
    "resolved_with_new_complication": _number(_RESOLVED & Q(with_new_complication=True)),
    "complications": _Number("complication", distinct=True, filter=_KNOWN),
    "complications_resolved": _Number("complication", distinct=True, filter=_RESOLVED),
    "cases": _Number("case", distinct=True, filter=_KNOWN),
}


def techniques(scope: Scope, filters: Filters, *, by_attempt: bool) -> Table:
    """Attempts by technique, situation faced and aim, with `by_attempt` also by their number in the situation."""
    keys = ["technique", "situation_faced", "aim", *(["attempt_in_situation"] if by_attempt else [])]
    attempts = Action.objects.filter(
        filters.inside(), filters.acted_so("situation_faced"), ends_attempt=True, acts_counted=True
    )
    names = [*keys, *(name.removeprefix("as_") for name in _OF_ATTEMPTS)]
    rows = _in_scope(attempts, scope).values_list(*keys).annotate(**_OF_ATTEMPTS)
    return _sorted([dict(zip(names, row, strict=True)) for row in rows], keys)


def situations(scope: Scope, filters: Filters) -> Table:
    """Complications that met each situation: that began with it, or in which something was done about it (R1)."""
    asked = replace(filters, situation=None)
    began = _in_scope(
        Complication.objects.filter(asked.inside(), asked.failed_so(), acts_counted=True), scope
    )
    came_later = ~Q(situation_faced=F("complication__situation")) & ~Q(situation_faced=CLOSED)
    acts = _in_scope(
        Action.objects.filter(asked.inside(), asked.acted_so("situation_faced"), acts_counted=True), scope
    )
    later = acts.filter(came_later, situation_faced__isnull=False)
    first = began.values_list("situation").annotate(number=Count("pk"))
    then = later.values_list("situation_faced").annotate(number=Count("complication", distinct=True))
    met: Counter[str] = Counter()
    for situation, number in first.union(then, all=True):
        met[situation] += number
    return _sorted(({"situation": key, "complications": n} for key, n in met.items()), ["situation"])


def extent(scope: Scope, filters: Filters) -> Row:
    """How many complications, cases, sites and first operators met the situation, from which day to which."""
    complications = Complication.objects.filter(filters.inside(), filters.failed_so(), acts_counted=True)
    if filters.situation:
        acts = Action.objects.filter(situation_faced=filters.situation, acts_counted=True)
        later = _in_scope(acts, scope).values("complication")
        complications = complications.filter(Q(situation=filters.situation) | Q(pk__in=later))
    return _extent(complications, scope)


def extent_of_devices(scope: Scope, filters: Filters) -> Row:
    """The same of complications whose device is in a figure of devices, left out ones included (R12)."""
    complications = Complication.objects.filter(filters.inside(), in_device_rate=True)
    return _extent(_of_class(complications, filters) if filters.device_class else complications, scope)


def _extent(complications: QuerySet[Complication], scope: Scope) -> Row:
    complications = _in_scope(complications, scope)
    operators = StaffRole.objects.filter(role="first_operator", case__in=complications.values("case"))
    counts = complications.aggregate(
        complications=Count("pk"),
        cases=Count("case", distinct=True),
        sites=Count("site", distinct=True),
        first=Min("earliest"),
        last=Max("latest"),
    )
    return {**counts, "operators": operators.aggregate(number=Count("person", distinct=True))["number"]}


def endings(scope: Scope, filters: Filters) -> Table:
    """Complications by their first situation, and by what became of them."""
    complications = _in_scope(
        Complication.objects.filter(filters.inside(), filters.began_so(), counted=True), scope
    )
    ended = Q(acts_counted=True, cause__isnull=False)
    attempted = ended & Q(attempts__gt=0)
    rows = complications.values("situation").annotate(
        complications=_number(Q(acts_counted=True)),
        **{str(cause): _number(ended & Q(cause=cause)) for cause in Cause if cause != Cause.CENSORED},
        place_unknown=_number(ended & Q(cause=Cause.LEFT, ending="lost_place_unknown")),
        transferred_open=_number(ended & Q(cause=Cause.CENSORED)),
        left_out=_number(Q(acts_counted=False) | Q(cause__isnull=True)),
        attempted=_number(attempted & ~Q(cause=Cause.CENSORED)),
        out_after_attempt=_number(attempted & Q(cause=Cause.OUT)),
    )
    return _sorted(rows, ["situation"])


def declined(scope: Scope, filters: Filters) -> dict[str | None, int]:
    """Complications in which each technique was declined, whatever for (R11)."""
    counted = Q(filters.inside(), filters.acted_so("considered_for"), acts_counted=True)
    options = _in_scope(DeclinedOption.objects.filter(counted), scope)
    found = options.values("technique").annotate(declined=Count("complication", distinct=True))
    return dict(found.values_list("technique", "declined"))


def considered(scope: Scope, filters: Filters) -> Table:
    """Complications by technique tried or declined and by what it was for (R11)."""
    keys = ("technique", "considered_for")
    counted = Q(filters.inside(), filters.acted_so("considered_for"), acts_counted=True)
    complications = Count("complication", distinct=True)
    tried = _in_scope(Action.objects.filter(counted), scope).values(*keys).annotate(tried=complications)
    refused = (
        _in_scope(DeclinedOption.objects.filter(counted), scope)
        .values(*keys)
        .annotate(
            declined=complications,
            only_declined=Count("complication", distinct=True, filter=Q(also_tried=False)),
            tried_later=Count("complication", distinct=True, filter=Q(later_tried=True)),
        )
    )
    nothing = {"tried": 0, "declined": 0, "only_declined": 0, "tried_later": 0}
    together: dict[tuple[str | None, str | None], Row] = {}
    for row in (*tried, *refused):
        technique, situation = row.pop("technique"), row.pop("considered_for")
        key = {"technique": technique, "situation_faced": situation}
        together.setdefault((technique, situation), {**key, **nothing}).update(row)
    for row in together.values():
        row["considered"] = row["tried"] + row.pop("only_declined")
    return _sorted(together.values(), ["technique", "situation_faced"])


def curve(scope: Scope, filters: Filters) -> Table:
    """Complications of the curve by attempt (R10): how many left it after so many attempts by such a cause."""
    complications = _in_scope(
        Complication.objects.filter(filters.inside(), filters.began_so(), in_curve=True), scope
    )
    return _sorted(
        complications.values("attempts", "cause").annotate(number=Count("*")), ["attempts", "cause"]
    )


class DeviceCounts(NamedTuple):
    """What a rate per use is made of, each row with `device_model` and `device_class`.

    `events`: all first and secondary events, and the first that lack a model, a month or recorded uses; `uses`: those
    recorded; `in_error`: the site-months with fewer uses than first events, with both numbers, `site` and `month`.
    """

    events: Table
    uses: Table
    in_error: Table


_CLASS_OF_MODEL = Case(
    When(device_model__isnull=True, then=F("device_class")),
    default=Coalesce("device_model__device_class", Value(UNKNOWN)),
)
"""The catalogue's, of a queued model that of its first case: `unknown` where no case has named one."""


def _of_class(events: QuerySet[Complication], filters: Filters) -> QuerySet[Complication]:
    events = events.annotate(class_of_model=Coalesce(_CLASS_OF_MODEL, Value(UNKNOWN)))
    return events.filter(class_of_model=filters.device_class) if filters.device_class else events


def devices(scope: Scope, filters: Filters) -> DeviceCounts:
    """Index devices of the complications that began in their procedure, and units opened, by model (R12)."""
    months = filters.months()
    keys = ("model", "class_of_model")
    in_rate = Complication.objects.filter(filters.inside(), in_device_rate=True)
    complications = _in_scope(_of_class(in_rate, filters), scope).annotate(model=F("device_model__code"))
    uses = _in_scope(DeviceUse.objects.filter(months), scope).annotate(
        class_of_model=Coalesce("model__device_class", Value(UNKNOWN))
    )
    if filters.device_class:
        uses = uses.filter(class_of_model=filters.device_class)
    first = Q(caused_by__isnull=True)
    dated = first & Q(device_model__isnull=False, month__isnull=False)
    recorded = DeviceUse.objects.filter(
        site=OuterRef("site"), model=OuterRef("device_model"), month=OuterRef("month")
    )
    events = complications.values(*keys).annotate(
        first=_number(first),
        secondary=_number(~first),
        no_model=_number(first & Q(device_model__isnull=True)),
        no_month=_number(first & Q(device_model__isnull=False, month__isnull=True)),
        no_denominator=_number(dated & ~Q(Exists(recorded))),
    )
    # The uses are joined on after counting, so that they are looked up once for each site-month.
    in_error = (
        complications.filter(dated)
        .annotate(code=F("site__code"))
        .values(*keys, "code", "month", "device_model", "site")
        .annotate(events=Count("*"))
        .annotate(uses=Subquery(recorded.values("uses")))
        .filter(events__gt=F("uses"))
        .values(*keys, "code", "month", "uses", "events")
    )
    opened = uses.values("model__code", "class_of_model").annotate(uses=Sum("uses"))
    return DeviceCounts(_by_model(events), _by_model(opened), _by_model(in_error, "site", "month"))


def _by_model(rows: Iterable[Mapping[str, Any]], *more_keys: str) -> Table:
    """Rows under the names of the answer's columns; a few of these are names of the tables' own columns."""
    names = {
        "model": "device_model",
        "model__code": "device_model",
        "class_of_model": "device_class",
        "code": "site",
    }
    renamed = [{names.get(key, key): value for key, value in row.items()} for row in rows]
    return _sorted(renamed, ["device_model", "device_class", *more_keys])


def months_with_uses(scope: Scope, filters: Filters) -> Table:
    """Each `site` and `month` of the period with a recorded number of uses, of whatever model."""
    uses = _in_scope(DeviceUse.objects.filter(filters.months()), scope)
    recorded = uses.values_list("site__code", "month").distinct()
    return _sorted(({"site": site, "month": month} for site, month in recorded), ["site", "month"])


def names_of_models(codes: Collection[str]) -> dict[str, str]:
    """What the catalogue calls these models; those that it does not name are missing."""
    named = DeviceModel.objects.filter(code__in=codes).exclude(name="")
    return dict(named.values_list("code", "name"))


class ProcedureCounts(NamedTuple):
    """Procedures and cases of the site-months whose return says that everything is reported, and the other cases."""

    procedures: int
    cases: int
    no_month: int
    no_return: int


def procedures(scope: Scope, filters: Filters) -> ProcedureCounts:
    """Procedures, and the cases in which a complication began, in site-months that are reported whole (R12)."""
    whole = Q(reporting__in=[Reporting.ALL_REPORTED, Reporting.NONE_HAPPENED], procedures__isnull=False)
    returns = _in_scope(MonthlyReturn.objects.filter(filters.months(), whole), scope)
    complications = _in_scope(Complication.objects.filter(filters.inside(), in_device_rate=True), scope)
    returned = Exists(MonthlyReturn.objects.filter(whole, site=OuterRef("site"), month=OuterRef("month")))
    dated = Q(month__isnull=False)
    cases = complications.aggregate(
        cases=Count("case", distinct=True, filter=Q(returned)),
        no_month=Count("case", distinct=True, filter=~dated),
        no_return=Count("case", distinct=True, filter=dated & ~Q(returned)),
    )
    return ProcedureCounts(returns.aggregate(total=Sum("procedures", default=0))["total"], **cases)


Reasons = dict[Reason, int]

_SHORT = Q(acts_counted=False, case__status__isnull=False) & ~Q(case__status="full")
_NOT_ALL_KNOWN = Q(acts_counted=False, actions_known__isnull=False) & ~Q(actions_known="all")
_ACTS = (
    When(_SHORT, then=Value(Reason.SHORT_RECORD)),
    When(_NOT_ALL_KNOWN, then=Value(Reason.ACTIONS_NOT_ALL_KNOWN)),
    When(acts_counted=False, then=Value(Reason.ACTIONS_NOT_RECORDED)),
)
_NO_CAUSE = When(cause__isnull=True, then=Value(Reason.ENDING_WITHOUT_CAUSE))


def without_acts(scope: Scope, filters: Filters) -> Reasons:
    """Complications that are in no figure of techniques, by reason (R11)."""
    rows = Complication.objects.filter(filters.began_so(), counted=True)
    return _reasons(rows, scope, filters, Q(acts_counted=False), _ACTS)


def without_cause(scope: Scope, filters: Filters) -> Reasons:
    """Complications that are in no figure of endings, by reason (R10)."""
    rows = Complication.objects.filter(filters.began_so(), counted=True)
    apart = Q(acts_counted=False) | Q(cause__isnull=True)
    return _reasons(rows, scope, filters, apart, (*_ACTS, _NO_CAUSE))


def outside_curve(scope: Scope, filters: Filters) -> Reasons:
    """Complications that have no place in the curve, by reason (R10)."""
    rows = Complication.objects.filter(filters.began_so(), counted=True)
    rest = When(in_curve=False, then=Value(Reason.ACT_WITH_ANOTHER))
    return _reasons(rows, scope, filters, Q(in_curve=False), (*_ACTS, _NO_CAUSE, rest))


def perhaps_outside(scope: Scope, filters: Filters) -> Reasons:
    """First events of devices whose date may lie in the period and may not (R13)."""
    if not filters.inside():
        return {}
    rows = _of_class(Complication.objects.filter(in_device_rate=True, caused_by__isnull=True), filters)
    return _reasons(rows, scope, filters, Q(pk__in=[]), ())


def _reasons(
    rows: QuerySet[Complication], scope: Scope, filters: Filters, apart: Q, whens: Sequence[When]
) -> Reasons:
    """The number of complications by the first reason that fits: a partly known date, then those of `whens`."""
    if inside := filters.inside():
        apart |= ~inside
        whens = (When(~inside, then=Value(Reason.DATE_PARTLY_KNOWN)), *whens)
    counted = (
        _in_scope(rows.filter(filters.touching()).filter(apart), scope)
        .annotate(reason=Case(*whens))
        .values("reason")
        .annotate(number=Count("*"))
    )
    found = {Reason(row["reason"]): row["number"] for row in counted}
    return {reason: found[reason] for reason in Reason if reason in found}

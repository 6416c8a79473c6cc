"""The catalogue and the two monthly words as pages of administration show them; writes nothing."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from registry.models import DeviceModel, DeviceUse, MonthlyReturn, Site, Staff
from registry.reading.owed import months_of_beginning
from registry.terms import Reporting
from registry.vocabulary import word_list

MOST_MODELS = 300
LATELY = 12
"""Months before a month whose models are offered in it."""
MONTHS = 24

REPORTING_WORDS = {
    Reporting.ALL_REPORTED: "All complications of the month are reported",
    Reporting.NONE_HAPPENED: "No complication happened",
    Reporting.OPEN: "Open: reports may still come",
}
_MARKS = {Reporting.ALL_REPORTED: "complete", Reporting.NONE_HAPPENED: "none", Reporting.OPEN: "due"}


@dataclass(frozen=True, slots=True)
class ModelRow:
    """A device model as a list shows it; `queued` where a case named it and the catalogue has not taken it in."""

    key: int
    code: str
    name: str
    maker: str
    device_class: str
    class_label: str
    queued: bool


@dataclass(frozen=True, slots=True)
class UseRow:
    """A model and its units in one month; None where they are not recorded."""

    model: ModelRow
    uses: int | None


@dataclass(frozen=True, slots=True)
class ReturnRow:
    """A site's word for one month, `given` or not; procedures are None where not recorded.

    `owed` is False for a month before the site began that nobody gave a word for.
    """

    month: datetime.date
    given: bool
    owed: bool
    procedures: int | None
    word: str
    mark: str
    confirmed_by: str


def models_found(search: str) -> tuple[list[ModelRow], int]:
    """The first 300 models whose code, name or maker holds a text, queued ones first, and how many there are."""
    rows = DeviceModel.objects.filter(
        Q(code__icontains=search) | Q(name__icontains=search) | Q(maker__name__icontains=search)
    )
    return _models(rows)[:MOST_MODELS], rows.count()


def model_with_code(code: str) -> ModelRow | None:
    """One model, queued ones included."""
    return next(iter(_models(DeviceModel.objects.filter(code=code))), None)


def queued_models() -> int:
    """How many models wait for the catalogue."""
    return DeviceModel.objects.filter(queued=True).count()


def _models(rows: QuerySet[DeviceModel]) -> list[ModelRow]:
    classes = word_list("device_class")
    return [
        ModelRow(
            key=row.pk,
            code=row.code,
            name=row.name,
            maker=row.maker.name if row.maker else "",
            device_class=row.device_class or "",
            class_label=classes[row.device_class].label if row.device_class else "not recorded",
            queued=row.queued,
        )
        for row in rows.select_related("maker").order_by("-queued", "maker__name", "code")
    ]


def uses_of_month(site: Site, month: datetime.date, also: Collection[int] = ()) -> list[UseRow]:
    """The models used at a site in a month or lately, and those asked for besides, with the month's uses."""
    first = (month - datetime.timedelta(days=31 * LATELY)).replace(day=1)
    lately = DeviceUse.objects.filter(site=site, month__gte=first, month__lte=month).values("model_id")
    there = dict(DeviceUse.objects.filter(site=site, month=month).values_list("model_id", "uses"))
    rows = _models(DeviceModel.objects.filter(Q(pk__in=lately) | Q(pk__in=list(also))))
    listed = sorted(rows, key=lambda row: (row.class_label, row.maker, row.code))
    return [UseRow(row, there.get(row.key)) for row in listed]


def models_by_class(without: Collection[int] = ()) -> list[tuple[str, list[tuple[str, str]]]]:
    """Models to choose from, by class: key and words."""
    grouped: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for row in _models(DeviceModel.objects.exclude(pk__in=list(without))):
        grouped[row.class_label].append(
            (str(row.key), f"{row.name or row.code} · {row.maker or 'maker not recorded'}")
        )
    return sorted(grouped.items())


def last_months(today: datetime.date, most: int = MONTHS) -> list[datetime.date]:
    """The first days of this month and those before it, newest first."""
    months = [today.replace(day=1)]
    while len(months) < most:
        months.append((months[-1] - datetime.timedelta(days=1)).replace(day=1))
    return months


def returns_of(site: Site, months: Collection[datetime.date]) -> list[ReturnRow]:
    """A site's returns of these months, in their order, the missing ones too."""
    rows = MonthlyReturn.objects.filter(site=site, month__in=months).select_related("confirmed_by")
    given = {row.month: row for row in rows}
    begun = months_of_beginning([site.code]).get(site.code, datetime.date.max)
    return [_return_row(month, given.get(month), month >= begun) for month in months]


def _return_row(month: datetime.date, row: MonthlyReturn | None, owed: bool) -> ReturnRow:
    if row is None and owed:
        return ReturnRow(month, False, True, None, "Not given yet", "missing", "")
    if row is None:
        return ReturnRow(month, False, False, None, "Not owed: before this site began", "none", "")
    word = Reporting(row.reporting)
    confirmed = row.confirmed_by.code if row.confirmed_by else ""
    return ReturnRow(month, True, True, row.procedures, REPORTING_WORDS[word], _MARKS[word], confirmed)


def reporting_of(site: Site, month: datetime.date) -> str:
    """The code of a month's word; empty where none was given."""
    return (
        MonthlyReturn.objects.filter(site=site, month=month).values_list("reporting", flat=True).first() or ""
    )


def staff_codes(site: Site) -> list[str]:
    """The staff codes that a site's cases and returns name."""
    return list(Staff.objects.filter(site=site).order_by("code").values_list("code", flat=True))

"""The device catalogue, monthly device use and monthly returns: small files, checked whole before they are written."""

from __future__ import annotations

import datetime
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from django.db.models import Q, QuerySet

from registry.access import MAY_WRITE, require
from registry.case_fields import ID, NAME
from registry.journal import Event
from registry.models import (
    Complication,
    DeviceModel,
    DeviceUse,
    InvolvedDevice,
    LesionContent,
    Maker,
    MonthlyReturn,
    Person,
    Site,
    Staff,
)
from registry.recording.cases import actor
from registry.recording.change import Change, recorded
from registry.recording.checking import agree, today_at
from registry.recording.imports import ImportRefused, Tally
from registry.terms import OTHER, UNKNOWN, Reporting
from registry.vocabulary import word_list

Key = TypeVar("Key")

MOST_USES = 1_000_000
_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])", re.ASCII)
_COUNT = re.compile(r"0|[1-9][0-9]{0,6}", re.ASCII)

Lines = Sequence[tuple[int, Mapping[str, str]]]
"""The rows of a file with the number of the line on which each stands."""


@dataclass(slots=True)
class _Reading:
    """Errors gathered while a file is read, each with its line, field, value and what is allowed."""

    errors: list[str]

    def wrong(self, line: int, field: str, value: str, says: str, allowed: str) -> None:
        """Note one."""
        self.errors.append(f"line {line}: field {field}, value {value!r}: {says}; allowed: {allowed}")

    def refuse(self) -> None:
        """ImportRefused where there is any."""
        if self.errors:
            raise ImportRefused(self.errors)


def month_of(text: str) -> datetime.date | None:
    """The first day of a month written YYYY-MM, or None."""
    found = _MONTH.fullmatch(text)
    return datetime.date(int(found[1]), int(found[2]), 1) if found and 1900 <= int(found[1]) <= 2199 else None


def import_catalogue(lines: Lines, *, check_only: bool, by: Person | None) -> Tally:
    """Replace catalogue rows by model; a class that contradicts recorded cases is refused, naming them."""
    reading = _Reading([])
    wanted = {}
    classes = word_list("device_class")
    there = {model.code: model for model in DeviceModel.objects.select_related("maker")}
    for line, row in lines:
        code, maker, given = row["model"], row["maker"], row["class"]
        if not code or len(code) > NAME or code == UNKNOWN:
            reading.wrong(
                line, "model", code, "not a model's code", f"text of 1 to {NAME} characters, not unknown"
            )
        if not maker or len(maker) > NAME:
            reading.wrong(line, "maker", maker, "not a maker's name", f"text of 1 to {NAME} characters")
        if len(row["name"]) > NAME:
            reading.wrong(line, "name", row["name"], "too long", f"at most {NAME} characters")
        if given not in classes or given in (UNKNOWN, OTHER) or classes[given].retired:
            near = ", ".join(classes.nearest(given)) or "a code of device_class"
            reading.wrong(line, "class", given, "unknown class", f"nearest codes: {near}")
        elif code in wanted:
            reading.wrong(
                line, "model", code, "the same model twice; codes are unique across makers", "one row a model"
            )
        elif cases := contradicting_cases(code, given):
            reading.wrong(
                line,
                "class",
                given,
                f"recorded cases say otherwise: {', '.join(cases)}",
                "the class that they name",
            )
        wanted[code] = (maker, row["name"], given)
    reading.refuse()
    tally = Tally()
    for code, values in wanted.items():
        _count(tally, there.get(code), _catalogue_values(there.get(code)), values)
    if not check_only and (tally.created or tally.amended):
        recorded(lambda change: _write_catalogue(change, wanted, tally), who=actor(by))
    return tally


def _catalogue_values(model: DeviceModel | None) -> object:
    if model is None or model.queued or model.maker is None:
        return None
    return (model.maker.name, model.name, model.device_class)


def _count(tally: Tally, there: object, present: object, wanted: object) -> None:
    if there is None:
        tally.created += 1
    elif present == wanted:
        tally.unchanged += 1
    else:
        tally.amended += 1


def _write_catalogue(change: Change, wanted: Mapping[str, tuple[str, str, str]], tally: Tally) -> None:
    makers = {
        name: Maker.objects.get_or_create(name=name)[0] for name in sorted({m for m, _, _ in wanted.values()})
    }
    for code, (maker, name, device_class) in sorted(wanted.items()):
        DeviceModel.objects.update_or_create(
            code=code,
            defaults={"maker": makers[maker], "name": name, "device_class": device_class, "queued": False},
        )
    change.enter(Event("catalogue_changed", particulars={"created": tally.created, "amended": tally.amended}))


def contradicting_cases(model: str, device_class: str, most: int = 5) -> list[str]:
    """The cases (site and id) in which a device of this model is of a class that contradicts the one given."""
    found: set[str] = set()
    for table in (Complication, InvolvedDevice, LesionContent):
        rows = table._default_manager.filter(device_model__code=model).exclude(device_class=device_class)
        named = rows.values_list("device_class", "case__site__code", "case__document_id").order_by("case_id")
        found.update(f"{site} {case}" for given, site, case in named if not agree(given, device_class))
    listed = sorted(found)
    return listed[:most] + ([f"and {len(listed) - most} more"] if len(listed) > most else [])


def import_device_use(lines: Lines, *, check_only: bool, by: Person | None) -> Tally:
    """Replace what stood for each site and month of the file; models not named become not recorded."""
    reading = _Reading([])
    sites = {site.code: site for site in Site.objects.all()}
    models = dict(DeviceModel.objects.values_list("code", "pk"))
    wanted: dict[tuple[int, datetime.date, int], int] = {}
    for line, row in lines:
        key = _site_and_month(reading, line, row, sites)
        model = models.get(row["device_model"])
        if model is None:
            reading.wrong(
                line, "device_model", row["device_model"], "not in the catalogue", "a model of the catalogue"
            )
        uses = row["uses"]
        if not _COUNT.fullmatch(uses) or int(uses) > MOST_USES:
            reading.wrong(
                line, "uses", uses, "not a number of units", f"a whole number from 0 to {MOST_USES}"
            )
        elif key is not None and model is not None:
            if (*key, model) in wanted:
                reading.wrong(
                    line, "device_model", row["device_model"], "twice in one site and month", "one row each"
                )
            wanted[(*key, model)] = int(uses)
    reading.refuse()
    _may(by, {key[0] for key in wanted}, sites)
    months = {(site, month) for site, month, _ in wanted}
    there = {
        (site, month, model): uses
        for site, month, model, uses in _uses_in(months).values_list("site_id", "month", "model_id", "uses")
    }
    tally = _compared(there, wanted)

    def work(change: Change) -> None:
        _uses_in(months).delete()
        DeviceUse.objects.bulk_create(
            [
                DeviceUse(site_id=s, month=m, model_id=d, uses=uses)
                for (s, m, d), uses in sorted(wanted.items())
            ],
            batch_size=1000,
        )
        change.enter(_changed("device_use_changed", months, sites))

    if not check_only and there != wanted:
        recorded(work, who=actor(by))
    return tally


def import_procedures(lines: Lines, *, check_only: bool, by: Person | None) -> Tally:
    """Replace the monthly return of each site and month of the file."""
    reading = _Reading([])
    sites = {site.code: site for site in Site.objects.all()}
    wanted: dict[tuple[int, datetime.date], tuple[int | None, str, str | None]] = {}
    for line, row in lines:
        key = _site_and_month(reading, line, row, sites)
        procedures, reporting, confirmed = row["procedures"], row["reporting"], row["confirmed_by"] or None
        if procedures and (not _COUNT.fullmatch(procedures) or int(procedures) > MOST_USES):
            reading.wrong(line, "procedures", procedures, "not a number", f"0 to {MOST_USES}, or empty")
            continue
        if reporting not in list(Reporting):
            reading.wrong(line, "reporting", reporting, "not a return", ", ".join(Reporting))
        if confirmed is not None and (len(confirmed) > ID or confirmed == UNKNOWN):
            reading.wrong(
                line, "confirmed_by", confirmed, "not a staff code", f"up to {ID} characters, or empty"
            )
        if key is not None:
            if key in wanted:
                reading.wrong(line, "month", row["month"], "the same site and month twice", "one row each")
            wanted[key] = (int(procedures) if procedures else None, reporting, confirmed)
    reading.refuse()
    _may(by, {site for site, _ in wanted}, sites)
    rows = MonthlyReturn.objects.filter(site__in={site for site, _ in wanted}).select_related("confirmed_by")
    there = {
        (row.site_id, row.month): (row.procedures, row.reporting, row.confirmed_by and row.confirmed_by.code)
        for row in rows
        if (row.site_id, row.month) in wanted
    }
    tally = _compared(there, wanted)

    def work(change: Change) -> None:
        staff = _confirming(wanted)
        for (site, month), (procedures, reporting, confirmed) in sorted(wanted.items()):
            MonthlyReturn.objects.update_or_create(
                site_id=site,
                month=month,
                defaults={
                    "procedures": procedures,
                    "reporting": reporting,
                    "confirmed_by_id": staff[site, confirmed] if confirmed else None,
                },
            )
        change.enter(_changed("procedures_changed", set(wanted), sites))

    if not check_only and there != wanted:
        recorded(work, who=actor(by))
    return tally


def _confirming(
    wanted: Mapping[tuple[int, datetime.date], tuple[int | None, str, str | None]],
) -> dict[tuple[int, str], int]:
    named = sorted({(site, confirmed) for (site, _), (_, _, confirmed) in wanted.items() if confirmed})
    return {(site, code): Staff.objects.get_or_create(site_id=site, code=code)[0].pk for site, code in named}


def _site_and_month(
    reading: _Reading, line: int, row: Mapping[str, str], sites: Mapping[str, Site]
) -> tuple[int, datetime.date] | None:
    site, month = sites.get(row["site"]), month_of(row["month"])
    if site is None:
        reading.wrong(
            line, "site", row["site"], "there is no such site", ", ".join(sorted(sites)) or "none yet"
        )
    if month is None:
        reading.wrong(line, "month", row["month"], "not a month", "YYYY-MM")
    elif month > today_at(site):
        reading.wrong(line, "month", row["month"], "lies in the future", "up to this month")
    return (site.pk, month) if site is not None and month is not None else None


def _uses_in(months: Iterable[tuple[int, datetime.date]]) -> QuerySet[DeviceUse]:
    by_site: dict[int, list[datetime.date]] = defaultdict(list)
    for site, month in months:
        by_site[site].append(month)
    condition = Q(pk__in=[])
    for site, listed in by_site.items():
        condition |= Q(site=site, month__in=listed)
    return DeviceUse.objects.filter(condition)


def _compared(there: Mapping[Key, object], wanted: Mapping[Key, object]) -> Tally:
    """What changed counts as amended, a row that disappears too."""
    tally = Tally()
    for key in wanted.keys() | there.keys():
        if key not in there:
            tally.created += 1
        elif there[key] == wanted.get(key):
            tally.unchanged += 1
        else:
            tally.amended += 1
    return tally


def _changed(what: str, months: Iterable[tuple[int, datetime.date]], sites: Mapping[str, Site]) -> Event:
    codes = {site.pk: code for code, site in sites.items()}
    named = sorted(f"{codes[site]} {month:%Y-%m}" for site, month in months)
    return Event(what, particulars={"months": list(named)})


def _may(by: Person | None, touched: Iterable[int], sites: Mapping[str, Site]) -> None:
    if by is not None:
        require(by, MAY_WRITE, [site for site in sites.values() if site.pk in set(touched)])

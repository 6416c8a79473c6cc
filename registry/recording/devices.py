"""The device catalogue, monthly device use and monthly returns: small files, checked whole before they are written."""

from __future__ import annotations

import datetime
import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from typing import TypeVar

from django.db.models import Q, QuerySet

from registry.access import NotAllowed
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
from registry.recording.imports import Tally
from registry.recording.rows import Lines, MovedOn, Reading, short, sites_of
from registry.terms import OTHER, UNKNOWN, Reporting
from registry.vocabulary import word_list

Key = TypeVar("Key")

MOST_USES = 1_000_000
_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])", re.ASCII)
_COUNT = re.compile(r"0|[1-9][0-9]{0,6}", re.ASCII)

Return = tuple[int | None, str, str | None]
"""Procedures done, the word of the month, and the staff code of who confirmed it."""


def month_of(text: str) -> datetime.date | None:
    """The first day of a month written YYYY-MM, or None."""
    found = _MONTH.fullmatch(text)
    return datetime.date(int(found[1]), int(found[2]), 1) if found and 1900 <= int(found[1]) <= 2199 else None


def import_catalogue(lines: Lines, *, check_only: bool, by: Person | None, stood: str | None = None) -> Tally:
    """Replace catalogue rows by model; a class that contradicts recorded cases is refused, naming them.

    `stood` is what `catalogue_stands` said when a page about one model was opened; MovedOn where it stands no longer.
    """
    there = {model.code: model for model in DeviceModel.objects.select_related("maker")}
    wanted = _catalogue_read(lines, set(sites_of(by, "catalogue")))
    tally = Tally()
    for code, values in wanted.items():
        _count(tally, there.get(code), _catalogue_values(there.get(code)), values)

    def work(change: Change) -> None:
        if stood is not None and [catalogue_stands(code, lock=True) for code in wanted] != [stood]:
            raise MovedOn
        _write_catalogue(change, wanted, tally)

    if not check_only and (tally.created or tally.amended):
        recorded(work, who=actor(by))
    return tally


def _catalogue_read(lines: Lines, visible: Collection[str]) -> dict[str, tuple[str, str, str]]:
    reading = Reading([])
    wanted: dict[str, tuple[str, str, str]] = {}
    classes = word_list("device_class")
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
        elif cases := contradicting_cases(code, given, visible):
            reading.wrong(
                line,
                "class",
                given,
                f"recorded cases say otherwise: {', '.join(cases)}",
                "the class that they name",
            )
        wanted[code] = (maker, row["name"], given)
    reading.refuse()
    return wanted


def catalogue_stands(code: str, *, lock: bool = False) -> str:
    """A short text that changes whenever the catalogue's row of a model does; empty where it has none or queues it."""
    rows = DeviceModel.objects.select_for_update(of=("self",)) if lock else DeviceModel.objects.all()
    values = _catalogue_values(rows.select_related("maker").filter(code=code).first())
    return "" if values is None else short(values)


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


def contradicting_cases(model: str, device_class: str, visible: Collection[str], most: int = 5) -> list[str]:
    """The cases in which a device of this model is of a class that contradicts the one given.

    Those of sites in `visible` by site and id, those of others by their number alone.
    """
    found: set[str] = set()
    elsewhere: set[int] = set()
    for table in (Complication, InvolvedDevice, LesionContent):
        rows = table._default_manager.filter(device_model__code=model).exclude(device_class=device_class)
        named = rows.values_list("device_class", "case__site__code", "case__document_id", "case_id")
        for given, site, case, key in named.order_by("case_id"):
            if agree(given, device_class):
                continue
            if site in visible:
                found.add(f"{site} {case}")
            else:
                elsewhere.add(key)
    listed = sorted(found)
    shown = listed[:most] + ([f"and {len(listed) - most} more"] if len(listed) > most else [])
    return [*shown, *([f"cases of other sites: {len(elsewhere)}"] if elsewhere else [])]


def import_device_use(lines: Lines, *, check_only: bool, by: Person | None) -> Tally:
    """Replace what stood for each site and month of the file; models not named become not recorded."""
    sites = sites_of(by, "device_use")
    wanted = _uses_read(lines, sites)
    return _uses_written({(s, m) for s, m, _ in wanted}, wanted, sites, check_only=check_only, by=by)


def record_month_of_use(
    site: Site, month: datetime.date, uses: Mapping[str, str], *, stood: str, by: Person
) -> Tally:
    """Replace what stood for one month by the uses of a page, by model; an empty one is not recorded.

    RowsRefused counts the uses from 1 in their order. `stood` is what `uses_stand` said when the page was opened.
    """
    sites = sites_of(by, "device_use")
    if site.code not in sites:
        raise NotAllowed("this needs another role at this site")
    rows = [
        (line, {"site": site.code, "device_model": model, "month": f"{month:%Y-%m}", "uses": text})
        for line, (model, text) in enumerate(uses.items(), start=1)
        if text
    ]
    wanted = _uses_read(rows, sites)
    return _uses_written({(site.pk, month)}, wanted, sites, check_only=False, by=by, stood=stood)


def uses_stand(site: Site, month: datetime.date) -> str:
    """A short text that changes whenever the uses recorded for a month do."""
    return short(sorted(_uses_in({(site.pk, month)}).values_list("model_id", "uses")))


def _uses_read(lines: Lines, sites: Mapping[str, Site]) -> dict[tuple[int, datetime.date, int], int]:
    reading = Reading([])
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
                line, "uses", uses, "not a number of units", f"a whole number from 0 to {MOST_USES:,}"
            )
        elif key is not None and model is not None:
            if (*key, model) in wanted:
                reading.wrong(
                    line, "device_model", row["device_model"], "twice in one site and month", "one row each"
                )
            wanted[(*key, model)] = int(uses)
    reading.refuse()
    return wanted


def _uses_written(
    months: set[tuple[int, datetime.date]],
    wanted: Mapping[tuple[int, datetime.date, int], int],
    sites: Mapping[str, Site],
    *,
    check_only: bool,
    by: Person | None,
    stood: str | None = None,
) -> Tally:
    there = {
        (site, month, model): uses
        for site, month, model, uses in _uses_in(months).values_list("site_id", "month", "model_id", "uses")
    }

    def work(change: Change) -> None:
        _still(months, sites, stood, uses_stand)
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
    return _compared(there, wanted)


def _still(
    months: Iterable[tuple[int, datetime.date]],
    sites: Mapping[str, Site],
    stood: str | None,
    stands: Callable[[Site, datetime.date], str],
) -> None:
    """MovedOn unless the one month of a page stands as it stood; its site is locked, so that it goes on to."""
    if stood is None:
        return
    by_key = {site.pk: site for site in sites.values()}
    for site, month in months:
        list(Site.objects.select_for_update(no_key=True).filter(pk=site))
        if stands(by_key[site], month) != stood:
            raise MovedOn


def import_procedures(
    lines: Lines, *, check_only: bool, by: Person | None, stood: str | None = None
) -> Tally:
    """Replace the monthly return of each site and month of the file.

    `stood` is what `return_stands` said when a page about one month was opened; MovedOn where it stands no longer.
    """
    sites = sites_of(by, "returns")
    wanted = _returns_read(lines, sites)
    rows = MonthlyReturn.objects.filter(site__in={site for site, _ in wanted}).select_related("confirmed_by")
    there = {
        (row.site_id, row.month): _return_values(row) for row in rows if (row.site_id, row.month) in wanted
    }

    def work(change: Change) -> None:
        _still(wanted, sites, stood, return_stands)
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
    return _compared(there, wanted)


def return_stands(site: Site, month: datetime.date) -> str:
    """A short text that changes whenever the return of a month does; empty where none was given."""
    row = MonthlyReturn.objects.filter(site=site, month=month).select_related("confirmed_by").first()
    return "" if row is None else short(_return_values(row))


def _return_values(row: MonthlyReturn) -> Return:
    return (row.procedures, row.reporting, row.confirmed_by.code if row.confirmed_by else None)


def _returns_read(lines: Lines, sites: Mapping[str, Site]) -> dict[tuple[int, datetime.date], Return]:
    reading = Reading([])
    wanted: dict[tuple[int, datetime.date], Return] = {}
    for line, row in lines:
        key = _site_and_month(reading, line, row, sites)
        procedures, reporting, confirmed = row["procedures"], row["reporting"], row["confirmed_by"] or None
        if procedures and (not _COUNT.fullmatch(procedures) or int(procedures) > MOST_USES):
            reading.wrong(line, "procedures", procedures, "not a number", f"0 to {MOST_USES:,}, or empty")
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
    return wanted


def _confirming(
    wanted: Mapping[tuple[int, datetime.date], Return],
) -> dict[tuple[int, str], int]:
    named = sorted({(site, confirmed) for (site, _), (_, _, confirmed) in wanted.items() if confirmed})
    return {(site, code): Staff.objects.get_or_create(site_id=site, code=code)[0].pk for site, code in named}


def _site_and_month(
    reading: Reading, line: int, row: Mapping[str, str], sites: Mapping[str, Site]
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

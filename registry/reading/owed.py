"""From which month a site owes its monthly word; writes nothing."""

from __future__ import annotations

import datetime
import json
import zoneinfo
from collections.abc import Collection, Iterable, Iterator

from django.db.models import Min

from registry.models import Case, DeviceUse, JournalEntry, MonthlyReturn, Site


def months_of_beginning(sites: Collection[Site]) -> dict[int, datetime.date]:
    """The first month that each site owes, by the site's key: that of its first record, or in which it was added.

    The earlier of the two counts. A record is a return, a use of a device or a case; of a case whose day is not
    known exactly, its latest possible day. A site with neither a record nor an entry of its adding is left out.
    """
    months: dict[int, datetime.date] = {}
    for key, day in (*_first_records(sites), *_added(sites)):
        month = day.replace(day=1)
        months[key] = min(month, months.get(key, month))
    return months


def _first_records(sites: Collection[Site]) -> Iterator[tuple[int, datetime.date]]:
    first, *others = (
        rows.filter(site__in=sites).order_by().values_list("site").annotate(Min(name))
        for rows, name in (
            (MonthlyReturn.objects, "month"),
            (DeviceUse.objects, "month"),
            (Case.objects, "procedure_date_latest"),
        )
    )
    yield from first.union(*others, all=True)


def _added(sites: Iterable[Site]) -> Iterator[tuple[int, datetime.date]]:
    by_code = {site.code: site for site in sites}
    for at, text in JournalEntry.objects.filter(what="site_added").values_list("at", "text"):
        site = by_code.get(json.loads(text)["particulars"]["site"])
        if site is not None:
            yield site.pk, at.astimezone(zoneinfo.ZoneInfo(site.time_zone)).date()

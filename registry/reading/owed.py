"""From which month a site owes its monthly word; writes nothing."""

from __future__ import annotations

import datetime
import json
import zoneinfo
from collections.abc import Collection, Iterator, Mapping

from django.db.models import Model, OuterRef, Subquery

from registry.models import Case, DeviceUse, JournalEntry, MonthlyReturn, Site


def months_of_beginning(sites: Collection[str]) -> dict[str, datetime.date]:
    """The first month that each site owes, by its code: that of its first record, or in which it was added.

    The earlier of the two counts. A record is a return, a use of a device or a case; of a case whose day is not
    known exactly, its latest possible day. A site with neither a record nor an entry of its adding is left out.
    """
    rows = Site.objects.filter(code__in=sites).values_list(
        "code",
        "time_zone",
        _first(MonthlyReturn, "month"),
        _first(DeviceUse, "month"),
        _first(Case, "procedure_date_latest"),
    )
    found = {code: (zone, [day for day in days if day]) for code, zone, *days in rows}
    for code, day in _added({code: zone for code, (zone, _) in found.items()}):
        found[code][1].append(day)
    return {code: min(days).replace(day=1) for code, (_, days) in found.items() if days}


def _first(rows: type[Model], day: str) -> Subquery:
    """The first day of a site, which an index gives at once; the least of all its rows would be looked for."""
    return Subquery(rows._default_manager.filter(site=OuterRef("pk")).order_by(day).values(day)[:1])


def _added(zones: Mapping[str, str]) -> Iterator[tuple[str, datetime.date]]:
    """The day, where it is, on which each of these sites was added."""
    for at, text in JournalEntry.objects.filter(what="site_added").values_list("at", "text"):
        code = json.loads(text)["particulars"]["site"]
        if code in zones:
            yield code, at.astimezone(zoneinfo.ZoneInfo(zones[code])).date()

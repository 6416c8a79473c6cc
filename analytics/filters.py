"""What may be asked about: days, situation, lesion and device, as conditions on the record's rows. Runs no query."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q

from registry.models import Complication, Lesion, LesionContent
from registry.partial_dates import Span

_WHOLE_MONTHS = "rates per use and per procedure take whole months, written YYYY-MM"


class PeriodRefused(ValueError):
    """A period that cannot be asked about; the message says what is allowed."""


@dataclass(frozen=True, slots=True)
class Filters:
    """What a question is narrowed to; None is open.

    Days of procedures, both included: PeriodRefused where the first lies after the last. `situation` is the one faced
    where acts are counted, else the one that a complication began with. `segment` is where it happened, `contents`
    what lay in its lesion, `device_class` and `wire_class` those of the device that failed. Rates of devices know of
    days and of the device's class alone, since uses are not recorded by lesion or situation.
    """

    since: Span | None = None
    until: Span | None = None
    situation: str | None = None
    segment: str | None = None
    contents: str | None = None
    device_class: str | None = None
    wire_class: str | None = None

    def __post_init__(self) -> None:
        if self.since and self.until and self.since.earliest > self.until.latest:
            raise PeriodRefused(
                f"the period ends before it begins: since {self.since}, until {self.until}; "
                "since must not lie after until"
            )

    def inside(self) -> Q:
        """Procedures that lie in the period whatever their date means in full (R13)."""
        days = Q()
        if self.since:
            days &= Q(earliest__gte=self.since.earliest)
        if self.until:
            days &= Q(latest__lte=self.until.latest)
        return days

    def touching(self) -> Q:
        """Procedures that may lie in the period."""
        days = Q()
        if self.since:
            days &= Q(latest__gte=self.since.earliest)
        if self.until:
            days &= Q(earliest__lte=self.until.latest)
        return days

    def months(self) -> Q:
        """Site-months of the period; PeriodRefused unless it is of whole months."""
        months = Q()
        if self.since:
            if self.since.earliest.day != 1:
                raise PeriodRefused(f"since {self.since} is not the start of a month; {_WHOLE_MONTHS}")
            months &= Q(month__gte=self.since.earliest)
        if self.until:
            if (self.until.latest + datetime.timedelta(days=1)).day != 1:
                raise PeriodRefused(f"until {self.until} is not the end of a month; {_WHOLE_MONTHS}")
            months &= Q(month__lte=self.until.latest)
        return months

    def failed_so(self) -> Q:
        """Complications of this kind of device at this kind of place, whatever the situation."""
        wanted = Q()
        if self.device_class:
            wanted &= Q(device_class=self.device_class)
        if self.wire_class:
            wanted &= Q(device_wire_class=self.wire_class)
        if self.segment:
            wanted &= _lies_in(self.segment)
        if self.contents:
            inside = LesionContent.objects.filter(
                lesion__case=OuterRef("case"), lesion__ref=OuterRef("lesion"), what=self.contents
            )
            wanted &= Q(Exists(inside))
        return wanted

    def began_so(self) -> Q:
        """The same complications, of those that began with the situation."""
        return self.failed_so() & (Q(situation=self.situation) if self.situation else Q())

    def acted_so(self, facing: str) -> Q:
        """Acts and declined options of those complications, whose column `facing` is the situation."""
        wanted = Q(**{facing: self.situation}) if self.situation else Q()
        failed = self.failed_so()
        return wanted & Q(complication__in=Complication.objects.filter(failed)) if failed else wanted


def _lies_in(segment: str) -> Q:
    """Where it happened: the complication's own place, by default its lesion's.

    A list is kept as JSON text and searched as one: `"9"` with its quotes is not in `["9a"]`.
    """
    written = f'"{segment}"'
    of_lesion = Lesion.objects.filter(
        case=OuterRef("case"), ref=OuterRef("lesion"), segments__contains=written
    )
    no_place_of_its_own = Q(segments__isnull=True, places__isnull=True)
    return Q(segments__contains=written) | (no_place_of_its_own & Q(Exists(of_lesion)))

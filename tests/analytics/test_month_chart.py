"""The picture of events by month: its limits by name, lots that stand out, and bars where marks are too many."""

from __future__ import annotations

import csv
import datetime
import io
import re

import pytest

from analytics.charts import months
from analytics.models import QuarantinedLot
from analytics.recording import release_lot, set_lot_aside
from registry.models import DeviceModel, Person, Site
from tests.analytics.builders import catalogue, take, uses
from tests.analytics.page_reading import a_member, shown, text_of
from tests.builders import a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]


def with_lots(*lots: str | None) -> None:
    """A wire used each month, with an event in each month that has one of the lots."""
    catalogue("Tarn,W-1,First wire,guidewire")
    uses(*(f"north,W-1,2026-{month:02},40" for month in range(1, len(lots) + 1)))
    for month, lot in enumerate(lots, start=1):
        device = {"class": "guidewire", "model": "W-1", **({"lot": lot} if lot else {})}
        failed = a_ladder("wire_stuck:", device=device)
        take(a_case(failed, id=f"N-{month}", procedure={"date": f"2026-{month:02}-07"}))


BROKEN = 'stroke-dasharray="3 2.5"'


def test_events_of_a_lot_seen_twice_have_a_broken_ring_and_words_for_it(north: None) -> None:
    with_lots("L-1", "L-2", None, "L-1", "unknown", "unknown")
    client = a_member("north")
    page = shown(client, "/devices/model/W-1/")
    assert page.count(BROKEN) == 2
    assert "A broken ring: the event is of a lot that was seen twice, or that is set aside" in text_of(page)
    assert "2 of a lot seen twice or set aside." in text_of(page)
    assert shown(client, "/figures/events-by-month.svg", {"model": "W-1"}).count(BROKEN) == 2
    rows = csv.DictReader(io.StringIO(shown(client, "/figures/events-by-month.csv", {"model": "W-1"})))
    assert [row["of a lot seen twice or set aside"] for row in rows] == ["1", "0", "0", "1", "0", "0"]
    assert BROKEN not in shown(client, "/devices/over-time/")


def test_events_of_a_lot_set_aside_have_it_too_until_it_is_released(north: None) -> None:
    with_lots("L-1", "L-2")
    client = a_member("north")
    assert BROKEN not in shown(client, "/devices/model/W-1/")
    director = Person.objects.get(email="north@sites.example")
    model, site = DeviceModel.objects.get(code="W-1"), Site.objects.get(code="north")
    set_lot_aside(site, model, "L-2", "A reason.", "A shelf.", by=director)
    assert shown(client, "/devices/model/W-1/").count(BROKEN) == 1
    release_lot(QuarantinedLot.objects.get().code, by=director)
    page = shown(client, "/devices/model/W-1/")
    assert BROKEN not in page and "broken ring" not in page


def a_month_chart(*events: int, lower: int | None = None) -> str:
    columns = [
        months.Column(datetime.date(2026, 1 + which, 1), number, 1, "40", upper=30, lower=lower)
        for which, number in enumerate(events)
    ]
    said, below = "upper limit: 30 or more", ("lower limit:", f"{lower} or fewer") if lower else ()
    _, content = months.by_month(columns, [], counted="Events", said=said, below=below, under="Uses")
    return "".join(content)


def test_both_limits_have_their_names() -> None:
    both = a_month_chart(12, 20, 8, lower=5)
    assert both.count("c-limit") == 2 and "upper limit: 30 or more" in both
    assert "lower limit:" in both and "5 or fewer" in both
    one = a_month_chart(12, 20, 8)
    assert one.count("c-limit") == 1 and "lower limit" not in one


def test_a_chart_of_rates_names_its_upper_and_its_lower_limit(north: None) -> None:
    catalogue("Tarn,W-1,First wire,guidewire")
    uses(*(f"north,W-1,{year}-{month:02},400" for year in (2024, 2025) for month in range(1, 13)))
    take(
        *(
            a_case(
                a_ladder("wire_stuck:", device={"class": "guidewire", "model": "W-1"}),
                id=f"N-{year}-{month}-{number}",
                procedure={"date": f"{year}-{month:02}-07"},
            )
            for year in (2024, 2025)
            for month in range(1, 13)
            for number in range(14 + (month % 3))
        )
    )
    page = shown(a_member("north"), "/devices/model/W-1/")
    assert re.search(r"upper limit for a single month: \d+ or more", page)
    assert "lower limit:" in page and re.search(r">\d+ or fewer<", page)


def test_more_events_in_a_month_than_can_be_counted_by_eye_are_a_bar() -> None:
    many = a_month_chart(4_000, 20)
    assert "<circle" not in many and many.count("<rect") == 4
    few = a_month_chart(30, 20)
    assert few.count("<circle") == 52 and "<rect" not in few

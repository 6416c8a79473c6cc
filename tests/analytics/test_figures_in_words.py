"""How the pages of techniques and devices put a figure: few, none, unknown, left out, rare."""

from __future__ import annotations

import pytest
from django.test import Client

from tests.analytics.builders import catalogue, take, uses
from tests.analytics.page_reading import (
    rows_of,
    shown,
    text_of,
)
from tests.builders import a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

STUCK = "wire_stuck: steady_traction=unchanged"
W = {"model": "W-1", "class": "guidewire"}


def test_below_ten_attempts_there_is_no_percentage_and_the_dot_is_hollow(north_only: Client) -> None:
    take(*(a_case(a_ladder(STUCK), id=f"N-{number}") for number in range(9)))
    page = shown(north_only, "/techniques/", {"situation": "wire_stuck"})
    ((_, row),) = rows_of(page, "technique")
    assert "0 of 9" in text_of(row) and "too few for a percentage" in text_of(row)
    assert 'class="interval-dot few"' in row and 'class="interval-line few"' in row
    take(a_case(a_ladder(STUCK), id="N-9"))
    page = shown(north_only, "/techniques/", {"situation": "wire_stuck"})
    ((_, row),) = rows_of(page, "technique")
    assert "0 of 10" in text_of(row) and "none resolved (up to 28%)" in text_of(row)
    assert 'class="interval-dot"' in row and "few" not in row


def test_an_attempt_of_unknown_result_has_a_row_and_no_picture(north_only: Client) -> None:
    take(a_case(a_ladder("wire_stuck: steady_traction=unknown")))
    page = shown(north_only, "/techniques/", {"situation": "wire_stuck"})
    ((_, row),) = rows_of(page, "technique")
    assert "no known result" in text_of(row) and "1st: result not known" in text_of(row)
    assert "<svg" not in row
    assert "1 attempt (the result is unknown)" in text_of(page)


def test_techniques_that_were_only_declined_are_shown(north_only: Client) -> None:
    declined = [{"technique": "snare_over_wire", "reason": "would_lose_wire", "after_position": 0}]
    take(*(a_case(a_ladder("wire_unravelled:", declined=declined), id=f"N-{n}") for n in (1, 2)))
    page = text_of(shown(north_only, "/techniques/", {"situation": "wire_unravelled"}))
    assert (
        "Snare over the wire 2 none 2: would lose wire position in 2 none no attempt to get out or to secure"
        in page
    )


def test_short_records_are_said_to_be_left_out(north_only: Client) -> None:
    take(a_case(a_ladder(STUCK), id="N-1"), a_case(a_ladder(STUCK), id="N-2", status="short"))
    page = text_of(shown(north_only, "/techniques/", {"situation": "wire_stuck"}))
    assert "Left out: 1 complication (short record, its actions are not abstracted)." in page
    nothing = text_of(shown(north_only, "/techniques/", {"situation": "wire_stuck", "device_class": "coil"}))
    assert "No attempt to get out or to secure the device is recorded" in nothing
    assert "Nothing was left out." in nothing


def test_the_sentence_names_operators_and_what_the_figures_are_narrowed_to(north_only: Client) -> None:
    for number, person in enumerate(("p-001", "p-002", "p-002")):
        staff = [{"person": person, "role": "first_operator"}, {"person": "p-009", "role": "fellow"}]
        procedure = {"date": "2026-03-14", "staff": staff}
        take(a_case(a_ladder(STUCK), id=f"N-{number}", procedure=procedure))
    query = {"situation": "wire_stuck", "device_class": "guidewire", "since": "2026-01"}
    page = text_of(shown(north_only, "/techniques/", query))
    assert (
        "3 complications in 3 cases, North, 2 operators, March 2026. Only: Since 2026-01; Guidewire." in page
    )
    query = {"since": "2026-01", "until": "2026-04"}
    page = text_of(shown(north_only, "/devices/", query))
    assert "2 operators, March 2026" in page
    assert "site-months. Only: 2026-01 to 2026-04." in page


def test_devices_say_in_words_where_there_is_no_rate(north_only: Client) -> None:
    catalogue(
        "Maker,W-1,First wire,guidewire", "Maker,S-1,A snare,snare_single_loop", "Maker,C-1,A coil,coil"
    )
    uses("north,S-1,2026-03,3", "north,C-1,2026-03,100")
    snare = a_ladder(
        "snare_stuck:", device={"model": "S-1", "class": "snare_single_loop"}, caused_by="C1", ref="C2"
    )
    nameless = a_ladder("wire_stuck:", device={"class": "guidewire"})
    take(a_case(a_ladder("wire_stuck:", device=W, ref="C1"), snare, id="N-1"), a_case(nameless, id="N-2"))
    page = shown(north_only, "/devices/")
    read = [text_of(inside) for _, inside in rows_of(page, "model")]
    assert read[0].startswith("First wire guidewire, W-1")
    assert "No denominator, so no rate." in read[0] and "1 left out" in read[0]
    assert read[1].startswith(
        "Model not recorded guidewire 1 kind of complication: Model not recorded Wire stuck: 1"
    )
    assert "0 first, 1 secondary: no rate is drawn" in read[2]
    assert "none seen (up to 36.9)" in read[3]
    assert "interval-dot" not in rows_of(page, "model")[3][1]
    assert "Left out: 1 event (no device model) and 1 event (no denominator" in text_of(page)


def test_below_five_first_events_the_dot_is_hollow_and_the_rate_stands(north_only: Client) -> None:
    uses_of_it = "north,W-1,2026-03,1000"
    catalogue("Maker,W-1,First wire,guidewire")
    uses(uses_of_it)
    take(*(a_case(a_ladder("wire_stuck:", device=W), id=f"N-{number}") for number in range(4)))
    ((_, row),) = rows_of(shown(north_only, "/devices/"), "model")
    assert "4.0 (1.1 to 10.2)" in text_of(row) and 'class="interval-dot few"' in row
    take(a_case(a_ladder("wire_stuck:", device=W), id="N-4"))
    ((_, row),) = rows_of(shown(north_only, "/devices/"), "model")
    assert "5.0 (1.6 to 11.7)" in text_of(row) and 'class="interval-dot"' in row


def test_a_site_month_with_fewer_uses_than_events_is_to_be_mended(north_only: Client) -> None:
    catalogue("Maker,W-1,First wire,guidewire")
    uses("north,W-1,2026-03,1", "north,W-1,2026-05,8")
    take(*(a_case(a_ladder("wire_stuck:", device=W), id=f"N-{number}") for number in range(2)))
    page = text_of(shown(north_only, "/devices/"))
    assert "To mend" in page
    assert "North, March 2026, W-1: uses recorded 1, first events 2" in page
    page = text_of(shown(north_only, "/devices/denominators/"))
    assert "North, March 2026, W-1: uses recorded 1, first events 2 Mend the uses of March 2026" in page
    assert "Uses are in for 2 of 3 site-months." in page
    assert "North: April 2026 Give April 2026" in page


def test_rare_rates_keep_their_first_digit(north_only: Client) -> None:
    catalogue("Maker,W-1,First wire,guidewire")
    uses("north,W-1,2026-03,900000")
    take(a_case(a_ladder("wire_stuck:", device=W)))
    ((_, row),) = rows_of(shown(north_only, "/devices/"), "model")
    assert "0.001 (0.00003 to 0.01)" in text_of(row)

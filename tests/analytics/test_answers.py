"""What `answers` prints and where: columns, order of rows, sites, periods, what it refuses, and how often it asks."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analytics import summaries
from analytics.answers import WORDS, Reason
from analytics.filters import Filters, PeriodRefused
from registry.access import NotFound, Scope
from registry.cautions import caution
from registry.models import Case, Site
from registry.partial_dates import span
from registry.recording.cases import set_state
from registry.recording.undoing import undo_import
from registry.terms import CaseState
from tests.analytics.builders import (
    EVERYTHING,
    add_sites,
    cases_of,
    catalogue,
    left_out,
    picked,
    printed,
    returns,
    take,
    uses,
)
from tests.builders import Document, a_case, a_ladder
from tests.commands import command

pytestmark = [pytest.mark.data, pytest.mark.django_db, pytest.mark.usefixtures("north")]

WIRE = {"model": "W", "class": "guidewire"}
PULLED = a_ladder("wire_stuck: steady_traction=unchanged", device=WIRE)

# From the contract with those who read the CSV by program.
HEADINGS = {
    "techniques": "technique,situation_faced,aim,attempts,resolved,partly,unchanged,worse,not_delivered,"
    "stopped_for_safety,unknown,resolved_with_injury,resolved_with_new_complication,complications,"
    "complications_resolved,cases,lower,upper",
    "devices": "device_model,device_class,events,secondary_events,uses,events_left_out,rate_per_1000,lower,upper",
    "endings": "situation,complications,out,secured,left,place_unknown,surgery,died,transferred_open,left_out,"
    "attempted,out_after_attempt,lower,upper",
    "considered": "technique,situation_faced,considered,tried,declined,tried_later",
}
QUESTIONS = sorted(HEADINGS)


def dated(*dates: str) -> list[Document]:
    """A case with one attempt for each date."""
    return [a_case(PULLED, id=f"N-{n}", procedure={"date": date}) for n, date in enumerate(dates)]


@pytest.mark.parametrize("question", QUESTIONS)
def test_an_empty_registry_has_a_heading_and_no_rows(question: str) -> None:
    assert command("answers", question).out == f"{HEADINGS[question]}\n"


def test_by_attempt_adds_its_column_after_the_aim() -> None:
    heading = HEADINGS["techniques"].replace(",aim,", ",aim,attempt_in_situation,")
    assert command("answers", "techniques", "--by-attempt").out == f"{heading}\n"


@pytest.mark.parametrize("question", ["devices", "endings", "considered"])
def test_by_attempt_goes_with_techniques_only(question: str) -> None:
    outcome = command("answers", question, "--by-attempt")
    assert (outcome.status, outcome.out) == (2, "")
    assert "techniques only" in outcome.err


def test_what_shows_techniques_says_how_it_may_be_read_and_names_its_limits() -> None:
    for question in ("techniques", "endings", "considered"):
        assert caution("observational") in command("answers", question).err
    assert "limits: Wilson, 95 %" in command("answers", "techniques").err
    assert "limits: exact Poisson (Garwood), 95 %" in command("answers", "devices").err


def test_lines_end_in_a_line_feed_and_cells_are_quoted_where_they_need_it() -> None:
    take(a_case(a_ladder("wire_stuck:", device={"model": 'W, "long"', "class": "guidewire"})))
    out = command("answers", "devices").out
    assert "\r" not in out
    assert out.splitlines()[1].startswith('"W, ""long""",guidewire,')


def test_rows_come_by_their_keys_texts_by_code_point_an_empty_key_first() -> None:
    models = ["b", "B", "é", "a", "\U0001f600", "\uff5e"]
    take(*cases_of(*(a_ladder("wire_stuck:", device={**WIRE, "model": model}) for model in models)))
    take(a_case(a_ladder("wire_stuck:", device={"model": "unknown", "class": "guidewire"}), id="X-1"))
    take(a_case(a_ladder("wire_stuck:", device={"class": "unknown"}), id="X-2"))
    assert picked("devices", "device_model,device_class")[:2] == [",guidewire", ",unknown"]
    assert picked("devices", "device_model")[2:] == sorted(models)


def test_attempt_numbers_come_as_numbers() -> None:
    acts = ", ".join("-/free=unchanged" for _ in range(11))
    take(a_case(a_ladder(f"wire_stuck: {acts}")))
    found = picked("techniques", "attempt_in_situation", "--by-attempt")
    assert found == [str(number) for number in range(1, 12)]


def test_sites_are_counted_together_or_apart() -> None:
    add_sites("south", "west")
    for number, site in enumerate(["north", "south", "south", "west"]):
        take(a_case(PULLED, id=f"N-{number}", site=site))
    assert picked("techniques", "attempts") == ["4"]
    assert picked("techniques", "attempts", "--site", "south") == ["2"]
    assert picked("techniques", "attempts", "--site", "south", "--site", "west") == ["3"]
    assert picked("endings", "complications", "--site", "west") == ["1"]
    assert picked("considered", "tried", "--site", "west") == ["1"]


def test_the_same_id_at_two_sites_is_two_cases() -> None:
    add_sites("south")
    take(a_case(PULLED, id="N-1"), a_case(PULLED, id="N-1", site="south"))
    assert picked("techniques", "cases") == ["2"]


def test_devices_of_one_site_count_its_uses_alone() -> None:
    add_sites("south")
    take(a_case(PULLED), a_case(PULLED, id="N-2", site="south"))
    uses("north,W,2026-03,10", "south,W,2026-03,30")
    assert picked("devices", "events,uses") == ["2,40"]
    assert picked("devices", "events,uses", "--site", "south") == ["1,30"]


def test_an_unknown_site_is_refused_and_the_sites_are_named() -> None:
    outcome = command("answers", "techniques", "--site", "nowhere")
    assert (outcome.status, outcome.out) == (1, "")
    assert "'nowhere'" in outcome.err and "north" in outcome.err


def test_a_scope_without_sites_counts_nothing() -> None:
    take(a_case(PULLED))
    uses("north,W,2026-03,10")
    nowhere = Scope(frozenset())
    assert summaries.techniques(nowhere, Filters()).rows == ()
    assert summaries.devices(nowhere, Filters()).rows == ()
    assert summaries.endings(nowhere, Filters()).rows == ()
    assert summaries.considered(nowhere, Filters()).rows == ()
    assert summaries.curve(nowhere, Filters()).incidence.attempts.size == 0
    assert summaries.procedure_rate(nowhere, Filters()).procedures == 0


def test_a_narrowed_scope_never_reaches_a_site_outside_it() -> None:
    add_sites("south")
    mine = Scope(frozenset({Site.objects.get(code="north").pk}))
    with pytest.raises(NotFound):
        mine.narrowed(["south"])


@pytest.mark.parametrize(
    ("since", "until", "attempts"),
    [
        ("2026-01-31", "2026-01-31", 1),
        ("2026-01", "2026-01", 2),
        ("2026-02", None, 4),
        (None, "2026-02-01", 3),
        ("2026-01-31", "2026-02", 3),
        ("2025", None, None),
    ],
)
def test_a_period_includes_its_first_and_its_last_day(
    since: str | None, until: str | None, attempts: int | None
) -> None:
    take(*dated("2026-01-01", "2026-01-31", "2026-02-01", "2026-02-28", "2026-03-01", "2026-04-01"))
    options = [word for name, day in (("--since", since), ("--until", until)) if day for word in (name, day)]
    if attempts is None:
        outcome = command("answers", "techniques", *options)
        assert (outcome.status, outcome.out) == (1, "")
        assert "YYYY-MM-DD" in outcome.err
    else:
        assert picked("techniques", "attempts", *options) == [str(attempts)]
        assert picked("endings", "complications", *options) == [str(attempts)]
        assert picked("considered", "tried", *options) == [str(attempts)]


@pytest.mark.parametrize(
    ("since", "until", "attempts", "left"),
    [
        ("2026-01-01", "2026-01-31", 1, 1),
        ("2026-01-02", "2026-01-31", 0, 2),
        ("2026-02", "2026-12", 0, 1),
        ("2025-12", "2026-12", 2, 0),
        ("2027-01", None, 0, 0),
    ],
)
def test_a_partly_known_date_counts_only_where_all_of_it_lies_inside(
    since: str, until: str | None, attempts: int, left: int
) -> None:
    take(*dated("2026-01", "2026"))
    options = ["--since", since, *(["--until", until] if until else [])]
    assert picked("techniques", "attempts", *options) == ([str(attempts)] if attempts else [])
    words = WORDS[Reason.DATE_PARTLY_KNOWN]
    what = "complication" if left == 1 else "complications"
    expected = [f"{left} {what} left out: {words}"] if left else []
    for question in ("techniques", "endings", "considered"):
        assert left_out(question, *options) == expected


def test_what_is_left_out_is_counted_once_for_the_first_reason() -> None:
    """A short record with a date that may lie outside, and one inside."""
    take(
        *(
            a_case(PULLED, id=f"N-{date}", procedure={"date": date}, status="short")
            for date in ("2026", "2026-01")
        )
    )
    assert left_out("techniques", "--since", "2026-01", "--until", "2026-06") == [
        f"1 complication left out: {WORDS[Reason.DATE_PARTLY_KNOWN]}",
        f"1 complication left out: {WORDS[Reason.SHORT_RECORD]}",
    ]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--since", "2026-03-02"], "since 2026-03-02 is not the start of a month"),
        (["--until", "2026-03-30"], "until 2026-03-30 is not the end of a month"),
        (["--since", "2026-02", "--until", "2026-03-01"], "until 2026-03-01 is not the end of a month"),
    ],
)
def test_devices_take_whole_months_only(options: list[str], says: str) -> None:
    outcome = command("answers", "devices", *options)
    assert (outcome.status, outcome.out) == (1, "")
    assert says in outcome.err
    assert "YYYY-MM" in outcome.err


def test_devices_of_a_period_count_its_months() -> None:
    take(*dated("2026-01-15", "2026-02", "2026-02-03", "2026-03-01", "2026"))
    uses("north,W,2026-01,10", "north,W,2026-02,20", "north,W,2026-03,40")
    assert picked("devices", "events,uses,events_left_out") == ["4,70,1"]
    february = ["--since", "2026-02", "--until", "2026-02"]
    assert picked("devices", "events,uses,events_left_out", *february) == ["2,20,0"]
    assert left_out("devices", *february) == [f"1 event left out: {WORDS[Reason.DATE_PARTLY_KNOWN]}"]
    assert picked("devices", "events,uses,events_left_out", "--until", "2026-02") == ["3,30,0"]


def test_a_period_that_ends_before_it_begins_is_refused() -> None:
    outcome = command("answers", "techniques", "--since", "2026-03", "--until", "2026-02")
    assert (outcome.status, outcome.out) == (1, "")
    assert "ends before it begins" in outcome.err
    with pytest.raises(PeriodRefused):
        Filters(span("2026-03-02"), span("2026-03-01"))
    assert Filters(span("2026-03-02"), span("2026-03"))


@pytest.mark.parametrize(
    "day", ["2026-02-30", "2026-13", "yesterday", "2026-3-1", "", "２０２６-03", "20260301"]
)
def test_a_day_that_cannot_be_read_is_refused(day: str) -> None:
    outcome = command("answers", "techniques", f"--since={day}")
    assert (outcome.status, outcome.out) == (1, "")
    assert "--since" in outcome.err and "YYYY-MM" in outcome.err


def test_a_model_with_uses_and_no_event_is_listed_with_its_upper_limit() -> None:
    catalogue("Maker,W,Wire,guidewire")
    uses("north,W,2026-03,200")
    # Garwood, Biometrika 1936: none seen, upper limit 3.688879 (as -ln 0.025).
    assert printed("devices") == ["W,guidewire,0,0,200,0,0.000000,0.000000,18.444397"]


def test_a_model_has_one_row_with_the_class_of_the_catalogue() -> None:
    catalogue("Maker,S,Stent,stent_drug_eluting")
    loose = a_ladder("stent_off_balloon_on_wire:", device={"model": "S", "class": "stent_unspecified"})
    unknown = a_ladder("stent_off_balloon_on_wire:", device={"model": "S", "class": "unknown"})
    take(*cases_of(loose, unknown))
    assert picked("devices", "device_model,device_class,events_left_out") == ["S,stent_drug_eluting,2"]


def test_a_queued_model_has_the_class_of_its_first_case_and_unknown_where_none_has_said() -> None:
    first = a_ladder("wire_stuck:", device={"model": "W", "class": "guidewire"})
    unknown = a_ladder("device_lost:", device={"model": "X", "class": "unknown"})
    take(*cases_of(first, unknown))
    assert picked("devices", "device_model,device_class") == ["W,guidewire", "X,unknown"]


def test_a_site_month_in_error_takes_its_uses_and_events_out_and_no_other_months() -> None:
    take(*dated("2026-01-01", "2026-01-02", "2026-02-01"))
    uses("north,W,2026-01,1", "north,W,2026-02,8")
    assert picked("devices", "events,uses,events_left_out,rate_per_1000") == ["1,8,2,125.000000"]


def test_errors_to_mend_come_by_model_site_and_month() -> None:
    add_sites("South")
    other = a_ladder("wire_stuck:", device={**WIRE, "model": "V"})
    later = [a_case(PULLED, id=f"N-{month}", procedure={"date": f"2026-{month}"}) for month in ("03", "01")]
    take(*later, a_case(PULLED, id="S-1", site="South"), a_case(other, id="N-9"))
    uses("north,W,2026-03,0", "north,W,2026-01,0", "South,W,2026-03,0", "north,V,2026-03,0")
    found = summaries.devices(EVERYTHING, Filters()).to_mend
    assert [(one.device_model, one.site, one.month.month) for one in found] == [
        ("V", "north", 3),
        ("W", "South", 3),
        ("W", "north", 1),
        ("W", "north", 3),
    ]


def test_secondary_events_make_no_site_month_an_error() -> None:
    first = a_ladder("device_lost:", ref="C1", device=WIRE)
    second = a_ladder("wire_stuck:", ref="C2", caused_by="C1", device=WIRE)
    take(a_case(first, second))
    uses("north,W,2026-03,1")
    assert picked("devices", "events,secondary_events,uses,events_left_out") == ["1,1,1,0"]


def test_cases_per_1000_procedures_need_a_return_that_says_all() -> None:
    dates = ["2026-01-01", "2026-02-01", "2026-03-01", "2026-04-01", "2026"]
    take(*dated(*dates), a_case(PULLED, PULLED, id="two", procedure={"date": "2026-01-02"}))
    returns(
        "north,2026-01,100,all_reported,",
        "north,2026-02,100,open,",
        "north,2026-03,,all_reported,",
        "north,2026-05,300,none_happened,",
    )
    rate = summaries.procedure_rate(EVERYTHING, Filters())
    assert (rate.cases, rate.procedures, rate.rate_per_1000) == (2, 400, 5.0)
    assert {one.reason: one.count for one in rate.left_out} == {Reason.NO_MONTH: 1, Reason.NO_RETURN: 3}
    assert summaries.procedure_rate(EVERYTHING, Filters(since=span("2026-06"))).rate_per_1000 is None


def test_withdrawn_cases_count_nowhere_and_locked_ones_everywhere() -> None:
    take(*cases_of(PULLED, PULLED))
    for document_id, state in (("N-1", CaseState.WITHDRAWN), ("N-2", CaseState.LOCKED)):
        case = Case.objects.get(document_id=document_id)
        set_state(case, state, version=1, reason="r", by=None, source="command")
    assert picked("techniques", "attempts") == picked("endings", "complications") == ["1"]
    assert picked("considered", "tried") == picked("devices", "events_left_out") == ["1"]
    assert left_out("techniques") == []


def test_an_import_that_is_taken_back_leaves_no_figure_behind() -> None:
    take(*cases_of(PULLED))
    before = [printed(question) for question in QUESTIONS]
    resolved = a_ladder("wire_stuck: steady_traction=resolved", device=WIRE)
    batch = take(*cases_of(resolved, resolved), amend="better known").batch
    assert [printed(question) for question in QUESTIONS] != before
    assert batch is not None
    undo_import(batch, reason="wrong file", by=None)
    assert [printed(question) for question in QUESTIONS] == before


@pytest.mark.parametrize(
    "asked",
    [
        summaries.techniques,
        summaries.devices,
        summaries.endings,
        summaries.considered,
        summaries.curve,
        summaries.procedure_rate,
    ],
)
def test_an_answer_takes_at_most_four_queries(asked: Callable[[Scope, Filters], object]) -> None:
    take(*cases_of(PULLED, PULLED))
    uses("north,W,2026-03,10")
    with CaptureQueriesContext(
        connection,
    ) as queries:
        asked(EVERYTHING, Filters(span("2026-01"), span("2026-12")))
    assert len(queries) <= 4


def test_every_reason_for_leaving_out_has_words() -> None:
    assert set(WORDS) == set(Reason)

"""A snapshot answers as the record did at its moment, whatever sites a person may see, and says how old it is."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from itertools import chain, combinations
from random import Random

import pytest
from django.utils import timezone
from django_tasks_db.models import DBTaskResult
from pytest_django.fixtures import Settings

from analytics import cohorts, snapshots, summaries
from analytics.cohorts import Filters, kept
from analytics.models import Snapshot
from registry.access import Scope
from registry.models import Case, Head, Person, Site, Staff
from registry.partial_dates import span
from registry.terms import Role
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, returns, take, uses
from tests.analytics.invented import CLASSES, SITES, invented_cases, invented_uses
from tests.analytics.page_reading import a_member, shown, text_of
from tests.analytics.test_device_pages import with_tools
from tests.analytics.test_places import placed
from tests.analytics.test_shelves import wanting
from tests.builders import Document

pytestmark = [pytest.mark.data, pytest.mark.django_db]

BY_A_WORKER = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


@pytest.fixture(autouse=True)
def large_from_50(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(snapshots, "LARGE", 50)


@pytest.fixture
def registry(db: None) -> None:
    add_sites(*SITES, "quiet")
    catalogue(*(f"Maker,{model},A name,{device_class}" for model, device_class in CLASSES.items()))
    uses(*(f"{site},{model},{month},{n}" for (site, model, month), n in invented_uses(1).items()))
    chance = Random(4)
    take(
        *(
            operated(wanting(with_tools(placed(one, chance), n), chance), n)
            for n, one in enumerate(invented_cases(300, seed=5))
        )
    )
    returns("north,2026-03,120,all_reported,p-001", f"{SITES[1]},2026-02,80,none_happened,p-001")
    returns(*(f"{site},2024-03,90,all_reported,p-001" for site in SITES))


def operated(case: Document, number: int) -> Document:
    """The case with one of five first operators, whose codes are taken at every site, or with none."""
    staff = [{"person": f"op-{number % 7}", "role": "first_operator"}] if number % 7 < 5 else []
    return {**case, "procedure": {**case["procedure"], "staff": staff}}


def one_more(number: int = 1) -> None:
    (document,) = invented_cases(1, seed=70 + number)
    take({**document, "id": f"more-{number}"})


def scopes() -> Iterator[Scope]:
    """Every set of sites, and the whole registry."""
    keys = list(Site.objects.values_list("pk", flat=True))
    for some in chain.from_iterable(combinations(keys, size) for size in range(len(keys) + 1)):
        yield Scope(frozenset(some))
    yield EVERYTHING


def unfiltered(scope: Scope) -> list[object]:
    """All that pages which read a snapshot ask without filters."""
    return [
        cohorts.techniques(scope, Filters(), by_attempt=False),
        cohorts.techniques(scope, Filters(), by_attempt=True),
        cohorts.situations(scope, Filters()),
        cohorts.extent(scope, Filters()),
        list(cohorts.without_acts(scope, Filters()).items()),
        cohorts.devices(scope, Filters()),
        cohorts.devices(scope, Filters(), by_situation=True),
        cohorts.extent_of_devices(scope, Filters()),
        cohorts.months_with_uses(scope, Filters()),
        cohorts.months_reported_whole(scope, Filters()),
        cohorts.events_of_days(scope, Filters()),
        cohorts.uses_of_months(scope, Filters()),
        cohorts.procedures_by_month(scope, Filters()),
        cohorts.cases_by_month(scope, Filters()),
        cohorts.places(scope, Filters()),
        cohorts.cases_of_places(scope, Filters()),
        cohorts.lesions(scope, Filters()),
        cohorts.rescue_tools(scope, Filters(), by_situation=False),
        cohorts.rescue_tools(scope, Filters(), by_situation=True),
        cohorts.tools_wanted(scope, Filters()),
        cohorts.sites(scope, Filters()),
        cohorts.operators(scope, Filters()),
    ]


def test_a_snapshot_of_any_sites_equals_the_live_answer(registry: None) -> None:
    snapshots.rebuild()
    assert len(kept.QUESTIONS) == len(unfiltered(EVERYTHING))
    for scope in scopes():
        with kept.reading():
            read = unfiltered(scope)
        assert read == unfiltered(scope)
    assert all(unfiltered(EVERYTHING))


def test_a_page_reads_the_snapshot_and_not_the_record(registry: None) -> None:
    snapshots.rebuild()
    then = summaries.techniques(EVERYTHING, Filters())
    take(*({**one, "id": f"late-{number}"} for number, one in enumerate(invented_cases(40, seed=6))))
    with snapshots.answering(Filters()) as as_of:
        assert summaries.techniques(EVERYTHING, Filters()) == then
    assert as_of is not None
    assert as_of.changes == 40
    assert summaries.techniques(EVERYTHING, Filters()) != then


def test_with_a_filter_it_is_always_counted_live(registry: None) -> None:
    snapshots.rebuild()
    one_more()
    for filters in (Filters(since=span("2024")), Filters(situation="wire_stuck")):
        live = summaries.techniques(EVERYTHING, filters)
        with snapshots.answering(filters) as as_of:
            assert as_of is None
            assert summaries.techniques(EVERYTHING, filters) == live
        with kept.reading():
            assert summaries.techniques(EVERYTHING, filters) == live


def test_a_small_registry_is_counted_live_and_no_snapshot_is_asked_for(
    registry: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(snapshots, "LARGE", 100_000)
    with snapshots.answering(Filters()) as as_of:
        assert as_of is None
    assert not Snapshot.objects.exists()


def test_rows_replaced_by_amendments_do_not_make_a_registry_large(
    registry: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = Case.objects.count()
    monkeypatch.setattr(snapshots, "LARGE", 2 * number)
    for seed in (6, 7):
        take(*invented_cases(300, seed=seed), amend="another look")
    with snapshots.answering(Filters()) as as_of:
        assert as_of is None
    assert not Snapshot.objects.exists()


def test_the_first_reader_counts_live_and_the_next_reads_a_snapshot(registry: None) -> None:
    with snapshots.answering(Filters()) as first:
        assert first is None
    with snapshots.answering(Filters()) as second:
        assert second is not None
        assert second.changes == 0
    assert Snapshot.objects.get(name=snapshots.STAMP).number == Head.objects.get().number


def test_a_reader_of_figures_that_are_behind_asks_for_new_ones(registry: None) -> None:
    snapshots.rebuild()
    one_more()
    with snapshots.answering(Filters()) as behind:
        assert behind is not None
        assert behind.changes == 1
    with snapshots.answering(Filters()) as level:
        assert level is not None
        assert level.changes == 0


def test_at_most_one_new_snapshot_is_waited_for(registry: None, settings: Settings) -> None:
    settings.TASKS = BY_A_WORKER
    for number in range(3):
        one_more(number)
        with snapshots.answering(Filters()):
            pass
    assert DBTaskResult.objects.count() == 1
    assert DBTaskResult.objects.get().task_path == "analytics.snapshots.make"


def test_what_is_saved_after_a_snapshot_was_begun_is_asked_for_anew(
    registry: None, settings: Settings
) -> None:
    settings.TASKS = BY_A_WORKER
    snapshots.ask()
    snapshots.make.call()
    one_more()
    with snapshots.answering(Filters()):
        pass
    assert DBTaskResult.objects.count() == 2


def test_a_request_that_was_lost_is_made_again(registry: None, settings: Settings) -> None:
    settings.TASKS = BY_A_WORKER
    snapshots.ask()
    DBTaskResult.objects.all().delete()
    snapshots.ask()
    assert not DBTaskResult.objects.exists()
    Snapshot.objects.update(asked_at=timezone.now() - snapshots.LOST)
    snapshots.ask()
    assert DBTaskResult.objects.count() == 1


def test_where_nothing_makes_new_ones_the_page_counts_live(registry: None, settings: Settings) -> None:
    settings.TASKS = BY_A_WORKER
    snapshots.rebuild()
    Snapshot.objects.update(as_of=timezone.now() - snapshots.OLDEST - datetime.timedelta(minutes=1))
    with snapshots.answering(Filters()) as old_and_level:
        assert old_and_level is not None
    one_more()
    with snapshots.answering(Filters()) as old_and_behind:
        assert old_and_behind is None
    assert DBTaskResult.objects.count() == 1


def test_a_snapshot_that_is_level_is_not_made_again(registry: None) -> None:
    snapshots.rebuild()
    made = set(Snapshot.objects.values_list("pk", flat=True))
    snapshots.make.call()
    assert set(Snapshot.objects.values_list("pk", flat=True)) == made


def test_an_older_snapshot_that_is_finished_late_does_not_replace_a_newer_one(
    registry: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts = kept.parts
    others: list[int] = []

    def overtaken(sites: object) -> object:
        found = list(parts(sites))  # type: ignore[arg-type]
        if not others:
            others.append(0)
            one_more()
            others.append(snapshots.rebuild())
        return found

    monkeypatch.setattr(kept, "parts", overtaken)
    number = snapshots.rebuild()
    assert number < others[1] == Snapshot.objects.get(name=snapshots.STAMP).number
    with kept.reading():
        read = unfiltered(EVERYTHING)
    assert read == unfiltered(EVERYTHING)


def test_every_answer_of_techniques_and_devices_is_made_of_kept_tables(registry: None) -> None:
    snapshots.rebuild()
    live = summaries.techniques(EVERYTHING, Filters()), summaries.devices(EVERYTHING, Filters())
    with kept.reading():
        assert (summaries.techniques(EVERYTHING, Filters()), summaries.devices(EVERYTHING, Filters())) == live


def test_the_page_of_techniques_says_as_of_when_and_how_many_changes_came_since(registry: None) -> None:
    client = a_member(*SITES)
    assert "As of" not in shown(client, "/techniques/", {})
    snapshots.rebuild()
    assert "no changes since" in shown(client, "/techniques/", {})
    one_more()
    one_more(2)
    page = shown(client, "/techniques/", {})
    assert "2 changes since" in page
    assert f"{Snapshot.objects.get(name=snapshots.STAMP).as_of:%H:%M}" in page
    assert "no changes since" in shown(client, "/techniques/", {}), "newer figures were made meanwhile"
    assert "As of" not in shown(client, "/techniques/", {"situation": "wire_stuck"})


def test_the_file_of_techniques_bears_the_moment_in_its_name(registry: None) -> None:
    client = a_member(*SITES)
    snapshots.rebuild()
    one_more()
    as_of = Snapshot.objects.get(name=snapshots.STAMP).as_of
    answer = client.get("/techniques.csv")
    assert f'"techniques-as-of-{as_of:%Y-%m-%dT%H%MZ}.csv"' in answer["Content-Disposition"]
    answer = client.get("/techniques.csv", {"situation": "wire_stuck"})
    assert '"techniques.csv"' in answer["Content-Disposition"]


@pytest.mark.parametrize(
    "path", ["/places/", "/devices/rescue/", "/devices/over-time/", "/sites/", "/tools-wanted/"]
)
def test_pages_of_the_whole_registry_say_as_of_when_they_are(registry: None, path: str) -> None:
    client = a_member(*SITES)
    live = text_of(shown(client, path))
    assert "As of" not in live
    snapshots.rebuild()
    one_more()
    read = text_of(shown(client, path))
    assert "1 change since" in read
    assert re.sub(r"As of .* counted at once\. ", "", read) == live
    assert "As of" not in shown(client, path, {"since": "2024-01"})


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("/lesions.csv", "lesions"),
        ("/devices/rescue.csv", "rescue-tools"),
        ("/sites.csv", "sites"),
        ("/figures/places.csv", "places"),
        ("/figures/site-funnel.svg", "site-funnel"),
        ("/figures/device-rates.svg", "device-rates"),
        ("/figures/running-sum.csv", "running-sum"),
        ("/figures/events-by-month.csv", "events-by-month"),
        ("/figures/cases-by-month.svg", "cases-by-month"),
    ],
)
def test_a_file_read_from_a_snapshot_is_the_live_one_under_the_name_of_the_moment(
    registry: None, path: str, name: str
) -> None:
    client = a_member(*SITES)
    live = shown(client, path)
    snapshots.rebuild()
    one_more()
    as_of = Snapshot.objects.get(name=snapshots.STAMP).as_of
    answer = client.get(path)
    assert answer.content.decode() == live
    assert f'"{name}-as-of-{as_of:%Y-%m-%dT%H%MZ}.{path[-3:]}"' in answer["Content-Disposition"]


def test_a_figure_that_is_in_no_snapshot_is_counted_and_bears_no_moment(registry: None) -> None:
    snapshots.rebuild()
    one_more()
    answer = a_member(*SITES).get("/figures/endings-by-attempt.csv")
    assert '"endings-by-attempt.csv"' in answer["Content-Disposition"]


def test_a_staff_code_linked_after_a_snapshot_is_its_holders_own_at_once(registry: None) -> None:
    client = a_member("north", role=Role.OPERATOR)
    snapshots.rebuild()
    assert "names, as its first operator, a staff code that is linked to your account" in shown(
        client, "/sites/"
    )
    Staff.objects.filter(site__code="north").update(person=Person.objects.get(email="north@sites.example"))
    page = shown(client, "/sites/")
    assert "As of" in page
    assert "name a staff code of yours as first operator" in page


def test_a_member_of_one_site_reads_that_site_from_the_snapshot(registry: None) -> None:
    client = a_member("north")
    live = shown(client, "/techniques.csv", {"by_attempt": "yes"})
    snapshots.rebuild()
    assert shown(client, "/techniques.csv", {"by_attempt": "yes"}) == live

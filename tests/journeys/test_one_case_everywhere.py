"""One case of six rungs, as it stands in the picture, the table, the CSV, the de-identified view and a release."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from casebook.tables import TABLES, rows_of
from registry.deidentify.case_view import DeidentifiedCase, deidentified
from registry.deidentify.pseudonyms import Pseudonyms
from registry.documents.sealed_fields import parted
from registry.drawings.ladder_picture import ladder_picture
from registry.drawings.ladder_words import ladder_in_words
from registry.ladder import ladder_of
from registry.models import Case
from registry.recording.cases import submit_case
from registry.recording.sites import add_site
from registry.versions import last_version, version_text
from registry.vocabulary import word_list
from tests.analytics.page_reading import a_member, shown
from tests.commands import command
from tests.journeys.by_hand import six_rungs_by_hand

pytestmark = [pytest.mark.data, pytest.mark.django_db]


@pytest.fixture
def case() -> Case:
    """The case, submitted at a site of its own."""
    add_site("north", "North Moor", by=None)
    return submit_case(six_rungs_by_hand("N-6"), by=None)


def acts() -> list[dict[str, Any]]:
    return six_rungs_by_hand("N-6")["complications"][0]["actions"]


def test_the_picture_and_its_words_tell_every_rung_in_order(case: Case) -> None:
    document = version_text(last_version(case.pk).text).clear
    (complication,) = document["complications"]
    picture = ladder_picture(complication, document)
    words = " ".join(ladder_in_words(complication, document))
    labels = [word_list("technique")[act["technique"]].label for act in acts()]
    places = [words.index(label) for label in labels]
    assert places == sorted(places)
    for label in labels:
        assert label.split()[0] in picture
    page = shown(a_member("north"), f"/case/{case.code}/")
    assert all(label in page for label in labels)


def test_page_csv_and_command_count_the_same_six_attempts(case: Case) -> None:
    client = a_member("north")
    answer = client.get("/techniques.csv").content.decode()
    assert answer == command("answers", "techniques").out
    rows = list(csv.DictReader(io.StringIO(answer)))
    attempts = ladder_of(six_rungs_by_hand("N-6")["complications"][0]).attempts
    expected = sorted(
        (str(a.technique), str(a.faced), a.aim, str(int(a.result == "resolved"))) for a in attempts
    )
    assert [(r["technique"], r["situation_faced"], r["aim"], r["resolved"]) for r in rows] == expected
    injured = {r["technique"]: r["resolved_with_injury"] for r in rows}
    assert injured["stent_over_fragment"] == "0"
    for attempt in attempts:
        page = shown(client, "/techniques/", {"situation": attempt.faced})
        assert word_list("technique")[str(attempt.technique)].label in page
        assert f"{int(attempt.result == 'resolved')} of 1" in page


def test_the_de_identified_view_and_its_release_rows_say_the_same_acts(case: Case) -> None:
    clear, _ = parted(six_rungs_by_hand("N-6"))
    view = deidentified(clear, code=case.code, pseudonyms=Pseudonyms.drawn())
    (complication,) = view.content["complications"]
    told = [(act["technique"], act["aim"], act["result"]) for act in complication["actions"]]
    assert told == [(act["technique"], act["aim"], act["result"]) for act in acts()]
    ladder = ladder_of(six_rungs_by_hand("N-6")["complications"][0])
    rows = named_rows(view, "actions")
    assert [
        (
            row["technique"],
            row["situation_faced"],
            row["attempt_in_situation"],
            row["attempt_in_complication"],
        )
        for row in rows
    ] == [
        (rung.technique, rung.faced, rung.attempt_in_situation, rung.attempt_in_complication)
        for rung in ladder.rungs
    ]
    declined = [row["technique"] for row in named_rows(view, "declined")]
    assert declined == ["balloon_beside", "cardiac_surgery"]
    assert "N-6" not in str(rows_of(view))


def named_rows(view: DeidentifiedCase, table: str) -> list[dict[str, Any]]:
    """The rows of a view in one table of a release, each by its columns' names."""
    names = [column.name for column in TABLES[table]]
    return [dict(zip(names, row, strict=True)) for told, row in rows_of(view) if told == table]

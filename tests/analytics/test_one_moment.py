"""An answer is of one moment, though it asks several times and others go on saving."""

from __future__ import annotations

from threading import Thread

import pytest
from django.db import connection

from analytics import cohorts, summaries
from analytics.cohorts import Filters, Reasons
from registry.access import Scope
from tests.analytics.builders import EVERYTHING, add_sites, take
from tests.builders import a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db(transaction=True)]

SHORT = a_case(a_ladder("wire_stuck: steady_traction=unchanged"), status="short")


def _saved_by_somebody_else() -> None:
    def save() -> None:
        take({**SHORT, "id": "N-2"})
        connection.close()

    other = Thread(target=save)
    other.start()
    other.join()


def test_what_is_saved_between_two_questions_is_in_neither(monkeypatch: pytest.MonkeyPatch) -> None:
    add_sites("north")
    take(SHORT)
    ask = cohorts.without_acts

    def saved_meanwhile(scope: Scope, filters: Filters) -> Reasons:
        _saved_by_somebody_else()
        return ask(scope, filters)

    monkeypatch.setattr(cohorts, "without_acts", saved_meanwhile)
    assert [one.count for one in summaries.techniques(EVERYTHING, Filters()).left_out] == [1]
    monkeypatch.undo()
    assert [one.count for one in summaries.techniques(EVERYTHING, Filters()).left_out] == [2]

"""A wire whose events rise, and people who say something of it: for the tests of signals. Checks nothing itself."""

from __future__ import annotations

from typing import Any

from django.test import Client

from analytics.answers_signals import BETWEEN, Chart, Crossed, SignalRule, Signals
from analytics.cohorts import Filters
from analytics.signals import drawn_now, signals
from registry.models import Case, Membership, Person, Site
from registry.recording.cases import set_state
from registry.terms import CaseState, Role
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, take, uses
from tests.builders import Document, a_case, a_ladder

THREE_YEARS = [f"{year}-{month:02}" for year in (2023, 2024, 2025) for month in range(1, 13)]
SUM = "/signals/model_sum/W-1/"
LOT = f"W-1{BETWEEN}L-7"


def an_event(number: int, date: str, site: str = "north", **device: str) -> Document:
    complication = a_ladder("wire_stuck:", device={"class": "guidewire", "model": "W-1", **device})
    return a_case(complication, id=f"E-{number}", site=site, procedure={"date": date})


def a_rise(*more: Document) -> None:
    """Six events in 24 months of 50 uses, then five in one month, the last of them at another site."""
    add_sites("north", "south")
    catalogue("Maker,W-1,First wire,guidewire")
    uses(*(f"{site},W-1,{month},25" for site in ("north", "south") for month in THREE_YEARS))
    usual = [an_event(number, f"{month}-10") for number, month in enumerate(THREE_YEARS[:24:4])]
    rise = [an_event(10 + day, f"2025-05-{day:02}") for day in (3, 9, 15, 21)]
    take(*usual, *rise, an_event(30, "2025-05-27", site="south", lot="S-1"), *more)


def of(found: Signals, rule: SignalRule, subject: str = "W-1") -> Chart:
    (chart,) = [one for one in found.charts if (one.rule, one.subject) == (rule, subject)]
    return chart


def crossings_of(rule: SignalRule, subject: str = "W-1") -> tuple[Crossed, ...]:
    """The crossings of one chart; the list of all says the same of them."""
    drawn = drawn_now(EVERYTHING, rule, subject)
    listed = of(signals(EVERYTHING, Filters()), rule, subject)
    assert listed.times == len(drawn.crossings)
    assert (listed.last, listed.behind) == (
        (drawn.crossings[-1].event, len(drawn.crossings[-1].behind)) if drawn.crossings else (None, 0)
    )
    return drawn.crossings


def a_person(site: str, role: Role, name: str) -> Client:
    person = Person.objects.create_user(f"{name}@{site}.example", name=name)
    Membership.objects.create(person=person, site=Site.objects.get(code=site), role=role)
    client = Client(SERVER_NAME="localhost")
    client.force_login(person, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


def answered(client: Client, address: str, state: str, words: str, crossings: int = 1) -> Any:
    return client.post(f"{address}answer/", {"state": state, "words": words, "crossings": crossings})


def withdrawn(document_id: str) -> None:
    case = Case.objects.get(document_id=document_id)
    set_state(case, CaseState.WITHDRAWN, version=1, reason="not ours", by=None, source="command")

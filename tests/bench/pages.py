"""Pages through Django's own client: within what time 95 of 100 answers come, beside those of an empty page."""

from __future__ import annotations

import time
from collections.abc import Iterator

from django.db import connection, reset_queries
from django.test import Client, override_settings
from django.urls import reverse

from analytics import figures
from analytics.cohorts import Filters
from analytics.signals import signals
from registry.access import scope_of_command_line
from registry.models import Case, Complication, Site, Version
from registry.recording.sites import give_role
from registry.terms import Role
from tests.analytics.page_reading import MOST_QUESTIONS, OF_THE_FRAME
from tests.bench.measuring import Measured

TIMES, FEWEST_TIMES = 40, 10
LONGEST = 20.0
"""Seconds after which a page is asked for no more often than the fewest times."""
BACKEND = "allauth.account.auth_backends.AuthenticationBackend"
NO_QUESTIONS = {"BEGIN", "COMMIT", "ROLLBACK", "SAVEPOINT", "RELEASE", "SET"}


def pages(size: int) -> Iterator[Measured]:
    """The 95th percentile of each page's time over that of an empty page, and its own queries beside the frame's."""
    client = director_of_all_sites()
    with override_settings(ROOT_URLCONF="tests.bench.empty_page"):
        floor, _ = _slowest(client, "/empty/")
        for name, address in _addresses().items():
            seconds, queries = _slowest(client, address)
            if queries > MOST_QUESTIONS:
                too_many = f"{queries} questions of the database, {MOST_QUESTIONS} are allowed"
                yield Measured(
                    f"queries {name}", connection.vendor, size, queries - MOST_QUESTIONS, 0.0, too_many
                )
            yield Measured(
                f"page {name}",
                connection.vendor,
                size,
                seconds / floor,
                None,
                f"95 % within {1000 * seconds:.0f} ms, empty page {1000 * floor:.1f} ms, {queries} queries",
            )


def director_of_all_sites() -> Client:
    """A client signed in as somebody who directs the laboratory of every site."""
    for site in Site.objects.all():
        director = give_role("bench@north.example", site, Role.LAB_DIRECTOR, by=None)
    client = Client(SERVER_NAME="localhost")
    client.force_login(director, backend=BACKEND)
    return client


def _addresses() -> dict[str, str]:
    """Every page that somebody who directs a laboratory opens, by what it is called here."""
    return _of_the_record() | _of_techniques() | _of_devices() | _of_signals()


def _of_the_record() -> dict[str, str]:
    situation = _a_situation()
    case = Version.objects.order_by("-id")[0].case  # cases that are copies have no document
    last = Case.objects.order_by("-procedure_date_latest")[0]
    return {
        "home": reverse("home"),
        "home figures": reverse("home_figures"),
        "cases": reverse("cases"),
        "cases filtered": f"{reverse('cases')}?situation={situation}&since=2024-01",
        "cases searched": f"{reverse('cases')}?q={last.document_id}",
        "case": reverse("case", args=[case.code]),
        "case lots": reverse("case_lots", args=[case.code]),
    }


def _of_techniques() -> dict[str, str]:
    situation = _a_situation()
    return {
        "techniques": reverse("techniques"),
        "techniques of one": f"{reverse('techniques')}?situation={situation}",
        "techniques csv": f"{reverse('techniques_csv')}?situation={situation}&by_attempt=yes",
        "order svg": f"{reverse('figure_file', args=[figures.ORDER_OF_ATTEMPTS, 'svg'])}?situation={situation}",
        "places": reverse("places"),
        "tools wanted": reverse("tools_wanted"),
        "sites": reverse("sites"),
        "numbers": reverse("how_numbers_are_made"),
    }


def _of_devices() -> dict[str, str]:
    of_a_model = Complication.objects.filter(device_model__isnull=False).order_by("-id")
    model = of_a_model.values_list("device_model__code", flat=True)[0]
    return {
        "devices": reverse("devices"),
        "devices by class": f"{reverse('devices')}?by=class",
        "devices by maker": f"{reverse('devices')}?by=maker",
        "devices svg": reverse("figure_file", args=[figures.DEVICE_RATES, "svg"]),
        "device": reverse("device", args=[model]),
        "over time": reverse("over_time"),
        "denominators": reverse("denominators"),
        "rescue tools": reverse("rescue_tools"),
        "lots": reverse("lots"),
    }


def _of_signals() -> dict[str, str]:
    found = signals(scope_of_command_line(), Filters()).signals
    one = {"signal": reverse("signal", args=[found[0].chart.rule, found[0].chart.subject])} if found else {}
    return {"signals": reverse("signals")} | one


def _a_situation() -> str:
    return str(Complication.objects.values_list("situation", flat=True).order_by("id")[0])


def _slowest(client: Client, address: str) -> tuple[float, int]:
    """Seconds within which 95 % of the answers came, after a warm-up, and the queries of one."""
    client.get(address)
    connection.force_debug_cursor = True
    reset_queries()
    answer = client.get(address)
    queries = sum(
        query["sql"].split()[0] not in NO_QUESTIONS and not any(word in query["sql"] for word in OF_THE_FRAME)
        for query in connection.queries
    )
    connection.force_debug_cursor = False
    assert answer.status_code == 200, f"{address}: {answer.status_code}"
    times: list[float] = []
    while len(times) < TIMES and (sum(times) < LONGEST or len(times) < FEWEST_TIMES):
        start = time.perf_counter()
        client.get(address)
        times.append(time.perf_counter() - start)
    return sorted(times)[round(0.95 * len(times)) - 1], queries

"""Pages through Django's own client, the slowest of twenty beside the slowest of twenty of an empty page."""

from __future__ import annotations

import time
from collections.abc import Iterator

from django.db import connection, reset_queries
from django.test import Client, override_settings
from django.urls import reverse

from registry.models import Case, Complication, Site
from registry.recording.sites import give_role
from registry.terms import Role
from tests.bench.measuring import Measured

TIMES = 40
BACKEND = "allauth.account.auth_backends.AuthenticationBackend"
MOST_QUERIES = 12
NO_QUESTIONS = {"BEGIN", "COMMIT", "ROLLBACK", "SAVEPOINT", "RELEASE", "SET"}


def pages(size: int) -> Iterator[Measured]:
    """The 95th percentile of each page's time over that of an empty page, and its number of queries."""
    client = director_of_all_sites()
    with override_settings(ROOT_URLCONF="tests.bench.empty_page"):
        floor, _ = _slowest(client, "/empty/")
        for name, address in _addresses().items():
            seconds, queries = _slowest(client, address)
            if queries > MOST_QUERIES:
                too_many = f"{queries} questions of the database, {MOST_QUERIES} are allowed"
                yield Measured(
                    f"queries {name}", connection.vendor, size, queries - MOST_QUERIES, 0.0, too_many
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
    situation = Complication.objects.values_list("situation", flat=True).order_by("id")[0]
    case = Case.objects.order_by("-id")[0]
    last = Case.objects.order_by("-procedure_date_latest")[0]
    return {
        "home": reverse("home"),
        "cases": reverse("cases"),
        "cases filtered": f"{reverse('cases')}?situation={situation}&since=2024-01",
        "cases searched": f"{reverse('cases')}?q={last.document_id}",
        "case": reverse("case", args=[case.code]),
        "techniques": reverse("techniques"),
        "techniques of one": f"{reverse('techniques')}?situation={situation}",
        "devices": reverse("devices"),
    }


def _slowest(client: Client, address: str) -> tuple[float, int]:
    """Seconds within which 95 % of the answers came, after a warm-up, and the queries of one."""
    client.get(address)
    connection.force_debug_cursor = True
    reset_queries()
    answer = client.get(address)
    queries = sum(query["sql"].split()[0] not in NO_QUESTIONS for query in connection.queries)
    connection.force_debug_cursor = False
    assert answer.status_code == 200, f"{address}: {answer.status_code}"
    times = []
    for _ in range(TIMES):
        start = time.perf_counter()
        client.get(address)
        times.append(time.perf_counter() - start)
    return sorted(times)[int(0.95 * TIMES) - 1], queries

"""A release beside the same tables written by SQL statements that share no code with the reading and the policy.

The statements (`tests.bench.copying`) take names of columns, bands and words from the release; what a cell holds they
work out in the database.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from casebook.disclosure import period_of
from casebook.recording import make_release
from fixtures.generate import generate_cases
from registry.models import Person
from registry.recording.imports import Manner, Source, import_documents
from registry.recording.sites import add_site, give_role
from registry.terms import Role
from tests.bench.copying import compared, copied
from tests.builders import TODAY
from tests.registry.drawings.reading import case

pytestmark = [pytest.mark.data, pytest.mark.django_db]

OFFICER = "officer@example.org"
WRITTEN = (*(f"s{number}" for number in range(1, 9)), "every_property", "minimum")


def test_a_release_holds_what_statements_work_out_from_the_tables(tmp_path: Path) -> None:
    documents = [*(case(name) for name in WRITTEN), *generate_cases(150, 11)]
    sites = [add_site(code, code.title(), by=None) for code in sorted({one["site"] for one in documents})]
    for site in sites:
        give_role(OFFICER, site, Role.QUALITY_OFFICER, by=None)
        site.smallest_class = 1  # not saved: every class leaves
    sources = [Source(str(number), one) for number, one in enumerate(documents)]
    import_documents(sources, manner=Manner(), by=None, warn=lambda line: None)
    receipt = make_release(
        tmp_path / "release",
        sites=sites,
        period=period_of("2000-01", "2026-10", TODAY),
        purpose="a comparison",
        by=Person.objects.get(email=OFFICER),
    )
    copy = tmp_path / "copy"
    copy.mkdir()
    assert copied(copy, "2000-01-01", "2026-10-31") == receipt.released
    assert receipt.released > 140
    compared(copy, tmp_path / "release")

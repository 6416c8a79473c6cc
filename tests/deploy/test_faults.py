"""Twenty processes killed in the middle of saves, drafts and imports leave nothing half-written, and lose nothing."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

ROUNDS = 20
ROOT = Path(__file__).parents[2]


@pytest.mark.data
@pytest.mark.django_db(transaction=True)
def test_a_killed_process_leaves_nothing_half_written_and_loses_nothing(tmp_path: Path) -> None:
    environment = {**os.environ, "VAR_DIR": str(tmp_path)}
    if connection.vendor == "postgresql":
        # The child has this test's own database, which is empty and will be flushed.
        name = connection.settings_dict["NAME"]
        environment["DATABASE_URL"] = os.environ["DATABASE_URL"].replace("/postgres?", f"/{name}?")
    connection.close()
    words = [sys.executable, "-m", "tests.soak.faults", "--rounds", str(ROUNDS), "--seed", "7"]
    done = subprocess.run(words, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.stdout, done.stderr
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["wrong"] == []
    assert found["confirmed"], "nothing was confirmed, so nothing could have been lost"
    assert (found["rounds"], found["engine"]) == (ROUNDS, connection.vendor)

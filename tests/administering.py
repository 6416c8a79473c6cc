"""What tests of the pages of administration look at: the journal, and what a form was opened on."""

from __future__ import annotations

import re

from registry.models import (
    JournalEntry,
)
from tests.members import Response, words_of


def events() -> list[str]:
    """What the journal says happened, in order."""
    return list(JournalEntry.objects.order_by("id").values_list("what", flat=True))


def stood(response: Response) -> str:
    """What a form says it was opened on."""
    found = re.search(r'name="stood" value="([^"]*)"', words_of(response))
    return found[1] if found else ""

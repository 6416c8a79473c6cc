"""How the journal says that a registry holds the invented demo."""

from __future__ import annotations

from registry.models import JournalEntry

BEGUN, LOADED = "demo_begun", "demo_loaded"


def demo_loaded() -> bool:
    """Whether this registry holds the demo, all of it."""
    return JournalEntry.objects.filter(what=LOADED).exists()

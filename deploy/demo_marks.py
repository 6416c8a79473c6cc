"""How the journal says that a registry holds the invented demo."""

from __future__ import annotations

from registry.models import JournalEntry

BEGUN, LOADED = "demo_begun", "demo_loaded"


_seen: set[str] = set()


def demo_loaded() -> bool:
    """Whether this registry holds the demo, all of it; once it does it always will, so it is not asked again."""
    if LOADED not in _seen and JournalEntry.objects.filter(what=LOADED).exists():
        _seen.add(LOADED)
    return LOADED in _seen


def ask_again() -> None:
    """Forget what was seen: for tests, whose registries come and go within one process."""
    _seen.clear()

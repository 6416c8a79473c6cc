"""How the journal says that a registry holds the invented demo."""

from __future__ import annotations

import time

from registry.models import JournalEntry

BEGUN, LOADED = "demo_begun", "demo_loaded"
HOLDS = 60.0
"""Seconds for which a registry without the demo is not asked again: every page would else ask."""

_seen: dict[bool, float] = {}


def demo_loaded() -> bool:
    """Whether this registry holds the demo, all of it; once it does it always will, so it is not asked again."""
    if True in _seen:
        return True
    if False not in _seen or time.monotonic() - _seen[False] > HOLDS:
        _seen[JournalEntry.objects.filter(what=LOADED).exists()] = time.monotonic()
    return True in _seen


def ask_again() -> None:
    """Forget what was seen: where the demo was just loaded, and for tests, whose registries come and go."""
    _seen.clear()

"""The registry's own settings file: keys and the secret of its sessions, made once for a registry that has none."""

from __future__ import annotations

import os
import secrets

from django.conf import settings

from deploy.environment import local_file, read_local
from registry.models import JournalEntry
from registry.sealing import KeysMissing, keys, new_keys


def ensure_keys() -> None:
    """Make the keys where there are none and the journal is empty; KeysMissing where they are lost."""
    given = {name: getattr(settings, name) for name in ("WRAPPING_KEYS", "CHAIN_KEYS", "LOOKUP_KEY")}
    if all(given.values()):
        keys()
        return
    if JournalEntry.objects.exists():
        missing = ", ".join(name for name, value in given.items() if not value)
        raise KeysMissing(
            f"{missing} missing, and this registry has entries made with {_ids()}: give the same keys again, "
            f"in the environment or in {local_file().name}"
        )
    made = {name: value for name, value in new_keys().items() if not given[name]}
    if not settings.PRODUCTION and "SECRET_KEY" not in os.environ:
        made.setdefault("SECRET_KEY", secrets.token_urlsafe(50))
    added(made)
    for name, value in made.items():
        setattr(settings, name, value)


def _ids() -> str:
    from registry.canonical import read
    from registry.models import DataKey

    last = JournalEntry.objects.order_by("-id").values_list("text", flat=True).first()
    chain = read(last)["key"] if last else ""
    wrapping = DataKey.objects.order_by().values_list("wrapping_key", flat=True).distinct()
    return ", ".join(filter(None, [f"chain key {chain}", *(f"wrapping key {key}" for key in wrapping)]))


def added(made: dict[str, str]) -> None:
    """Write the file anew beside itself and put it in place in one step, so that a crash loses no key."""
    path = local_file()
    path.parent.mkdir(parents=True, exist_ok=True)
    kept = {**made, **read_local(path)}
    beside = path.with_suffix(".new")
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(
            "# Made by this registry for itself. Without these keys nothing sealed can be read again.\n"
        )
        file.writelines(f"{name}={value}\n" for name, value in sorted(kept.items()))
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


def migrate() -> None:
    """Bring the database's tables up to date, quietly."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0, interactive=False)

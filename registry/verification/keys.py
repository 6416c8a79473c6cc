"""The data keys that no submitted case uses: those of drafts. Every one must open."""

from __future__ import annotations

from registry.models import DataKey, Draft, Patient
from registry.sealing import NotOpened, Wrapped, unwrap
from registry.verification.broken import Broken

CHUNK = 1000


def check_spare_keys() -> None:
    """That every data key of no case can be opened, and that every draft has its own. Raises Broken, KeysMissing."""
    used = Patient.objects.filter(key__isnull=False).values("key")
    spare = DataKey.objects.exclude(pk__in=used).order_by("pk")
    for row in spare.iterator(chunk_size=CHUNK):
        try:
            unwrap(Wrapped(row.id, row.owner, row.wrapping_key, row.wrapped))
        except NotOpened:
            raise Broken(f"the data key of {row.owner} was changed and cannot be opened") from None
    keyless = Draft.objects.filter(key__isnull=False).exclude(key__in=DataKey.objects.values("pk"))
    if draft := keyless.order_by("pk").first():
        raise Broken(f"the draft {draft.code} has lost its data key: it can no longer be read")

"""What people said of signals; it opens nothing that is sealed."""

from __future__ import annotations

from django.db.models import QuerySet

from analytics.models import SignalWord


def signal_words() -> QuerySet[SignalWord]:
    """Every entry in the history of any signal, in the order in which they were written."""
    return SignalWord.objects.select_related("by").order_by("at", "pk")

"""What people wrote on the charts of their sites; it opens nothing that is sealed."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from analytics.cohorts.counting import in_scope
from analytics.models import Annotation
from registry.access import Scope


def annotations_of(scope: Scope, model: str | None = None) -> QuerySet[Annotation]:
    """Annotations on the charts of the scope's sites, of one model and of all, or without a model those of all."""
    about = Q(device_model__isnull=True)
    if model is not None:
        about |= Q(device_model__code=model)
    rows = Annotation.objects.filter(about, ended_at=None)
    return in_scope(rows, scope).select_related("by", "site", "device_model").order_by("day", "at", "pk")


def ever_annotated(scope: Scope, code: str) -> bool:
    """Whether this annotation is, or was, on charts of the scope."""
    return in_scope(Annotation.objects.filter(code=code), scope).exists()

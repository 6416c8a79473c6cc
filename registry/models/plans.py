"""The antiplatelet plan."""

from __future__ import annotations

from django.db import models

from registry import case_fields as fields
from registry.models import columns
from registry.models.columns import CaseRow, Row, hard_limits


class Plan(Row):
    """What was agreed about antiplatelet drugs and why; at most one a case."""

    case = models.OneToOneField("registry.Case", models.CASCADE, related_name="+")
    anticoagulant_agent = columns.code()
    anticoagulant_start_earliest = columns.day()
    anticoagulant_start_latest = columns.day()
    anticoagulant_stop_earliest = columns.day()
    anticoagulant_stop_latest = columns.day()
    anticoagulant_for_days = columns.whole()
    reasons = columns.listing()
    review_dates = columns.listing()
    agreed_by = columns.staff()
    patient_told = columns.code()

    class Meta:
        constraints = hard_limits("plan", {"anticoagulant_for_days": (0, 36_500)})


class PlanDrug(CaseRow):
    """One antiplatelet drug of the plan."""

    agent = columns.code()
    dose_mg = columns.number()
    loading_mg = columns.number()
    start_earliest = columns.day()
    start_latest = columns.day()
    stop_earliest = columns.day()
    stop_latest = columns.day()
    for_days = columns.whole()
    lifelong = columns.code()
    do_not_stop_before_earliest = columns.day()
    do_not_stop_before_latest = columns.day()

    class Meta:
        indexes = [models.Index(fields=["do_not_stop_before_earliest"], name="drug_by_review")]
        constraints = hard_limits(
            "drug", {"dose_mg": (0, 5_000), "loading_mg": (0, 5_000), "for_days": (0, fields.DAY.hard[1])}
        )

"""What became of the patient: in hospital, at discharge and afterwards."""

from __future__ import annotations

from django.db import models

from registry import case_fields as fields
from registry.models import columns
from registry.models.columns import CaseRow, Row, hard_limits, limits_of


class Outcome(Row):
    """The course in hospital and the state at discharge; at most one a case."""

    case = models.OneToOneField("registry.Case", models.CASCADE, related_name="+")
    troponin_limit = columns.number()
    troponin_baseline = columns.number()
    troponin_peak = columns.number()
    troponin_hours = columns.number()
    status_at_discharge = columns.code()
    destination = columns.code()
    discharge_day = columns.whole()
    death_day = columns.whole()
    death_cause = columns.code()
    death_device_related = columns.code()
    surgery_day = columns.whole()
    surgery_urgency = columns.code()
    surgery_where = columns.code()
    surgery_did = columns.listing()

    class Meta:
        constraints = hard_limits("outcome", limits_of(fields.OUTCOME))


class FlowReading(CaseRow):
    """Flow in a segment at the end of the procedure, TIMI 0 to 3."""

    segment = columns.code()
    timi = columns.whole()

    class Meta:
        constraints = hard_limits("flow", {"timi": (0, 3)})


class InHospitalEvent(CaseRow):
    """An event first seen after the laboratory, before discharge."""

    event = columns.code()
    day = columns.whole()
    scale = columns.code()
    grade = columns.code()

    class Meta:
        constraints = hard_limits("in_hospital", {"day": fields.DAY.hard})


class FollowUp(CaseRow):
    """One time that the patient was seen, phoned or looked up after discharge."""

    date_earliest = columns.day()
    date_latest = columns.day()
    day = columns.whole()
    status = columns.code()
    adherence = columns.code()
    fragment_imaging_by = columns.code()
    fragment_imaging_found = columns.code()

    class Meta:
        constraints = hard_limits("follow_up", {"day": fields.DAY.hard})


class FollowUpEvent(CaseRow):
    """An event that a follow-up brought to light."""

    follow_up = models.ForeignKey(FollowUp, models.CASCADE, related_name="+")
    event = columns.code()
    date_earliest = columns.day()
    date_latest = columns.day()
    day = columns.whole()
    scale = columns.code()
    grade = columns.code()

    class Meta:
        constraints = hard_limits("follow_up_event", {"day": fields.DAY.hard})

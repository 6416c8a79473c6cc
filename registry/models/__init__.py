"""The record's tables. Direction of imports: columns < places, people, devices < cases < complications, patients,
outcomes, plans, duties < versions, journal. Rows are the present, for asking questions; the past is in `versions`.
"""

from __future__ import annotations

from registry.models.cases import AccessRoute, Case, GuideCatheter, Lesion, LesionContent, StaffRole
from registry.models.complications import (
    Action,
    Complication,
    DeclinedOption,
    Fragment,
    Injury,
    InvolvedDevice,
)
from registry.models.devices import DeviceModel, DeviceUse, Maker
from registry.models.duties import Duty
from registry.models.journal import Head, JournalEntry, Look
from registry.models.outcomes import FlowReading, FollowUp, FollowUpEvent, InHospitalEvent, Outcome
from registry.models.patients import DataKey, Draft, Patient
from registry.models.people import Invitation, Membership, Person, Staff
from registry.models.places import MonthlyReturn, Site
from registry.models.plans import Plan, PlanDrug
from registry.models.versions import ImportBatch, Version

__all__ = [
    "AccessRoute",
    "Action",
    "Case",
    "Complication",
    "DataKey",
    "DeclinedOption",
    "DeviceModel",
    "DeviceUse",
    "Draft",
    "Duty",
    "FlowReading",
    "FollowUp",
    "FollowUpEvent",
    "Fragment",
    "GuideCatheter",
    "Head",
    "ImportBatch",
    "InHospitalEvent",
    "Injury",
    "Invitation",
    "InvolvedDevice",
    "JournalEntry",
    "Lesion",
    "LesionContent",
    "Look",
    "Maker",
    "Membership",
    "MonthlyReturn",
    "Outcome",
    "Patient",
    "Person",
    "Plan",
    "PlanDrug",
    "Site",
    "Staff",
    "StaffRole",
    "Version",
]

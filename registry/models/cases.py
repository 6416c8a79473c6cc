"""Cases and their lesions: one procedure in which one or more device complications happened."""

from __future__ import annotations

from django.db import models

from registry import case_fields as fields
from registry.models import columns
from registry.models.columns import CaseRow, Placed, Row, WithDevice, hard_limits, limits_of, one_of
from registry.models.places import Site
from registry.public_codes import new_code
from registry.terms import CaseState


class Case(Row):
    """The case itself, with what was recorded of the procedure and of the patient's condition.

    `version` is the number of its last version. `document_id` is the site's own name for it and never in an address;
    outside, the case is known by `code`.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="cases")
    document_id = models.CharField(max_length=fields.ID)
    code = models.CharField(max_length=9, unique=True, default=new_code)
    state = models.CharField(max_length=12, default=CaseState.SUBMITTED)
    version = models.PositiveIntegerField(default=0)
    erased = models.BooleanField(default=False)

    vocabulary_version = models.CharField(max_length=8)
    status = columns.code()
    procedure_date_earliest = models.DateField()
    procedure_date_latest = models.DateField()
    procedure_started_at = columns.name(5)
    procedure_kind = columns.code()
    procedure_urgency = columns.code()
    procedure_presentation = columns.code()
    procedure_dominance = columns.code()
    procedure_support = columns.code()
    procedure_heparin_units = columns.number()
    procedure_act_seconds = columns.listing()
    procedure_contrast_ml = columns.number()
    procedure_air_kerma_mgy = columns.number()
    procedure_result = columns.code()

    patient_age = columns.whole()
    patient_sex = columns.code()
    patient_risk_oral_anticoagulant = columns.code()
    patient_risk_chronic_bleeding_disorder = columns.code()
    patient_risk_liver_cirrhosis_portal_hypertension = columns.code()
    patient_risk_active_cancer_12_months = columns.code()
    patient_risk_intracranial_bleed_spontaneous = columns.code()
    patient_risk_intracranial_bleed_traumatic_12_months = columns.code()
    patient_risk_brain_avm = columns.code()
    patient_risk_stroke_moderate_severe_6_months = columns.code()
    patient_risk_stroke_ischaemic_other = columns.code()
    patient_risk_bleeding_admission_6_months = columns.code()
    patient_risk_bleeding_admission_7_to_12_months = columns.code()
    patient_risk_bleeding_recurrent = columns.code()
    patient_risk_surgery_planned_on_dapt = columns.code()
    patient_risk_surgery_or_trauma_30_days = columns.code()
    patient_risk_nsaid_or_steroid_long_term = columns.code()
    patient_risk_diabetes = columns.code()
    patient_risk_smoker = columns.code()
    patient_risk_hypertension = columns.code()
    patient_risk_heart_failure_or_low_ef = columns.code()
    patient_risk_earlier_mi = columns.code()
    patient_risk_earlier_pci = columns.code()
    patient_risk_mi_at_presentation = columns.code()
    patient_risk_paclitaxel_stent = columns.code()
    patient_risk_vein_graft_stent = columns.code()
    patient_risk_haemoglobin_g_dl = columns.number()
    patient_risk_platelets_10e9_l = columns.number()
    patient_risk_egfr_ml_min = columns.number()
    patient_risk_creatinine_umol_l = columns.number()
    patient_risk_white_cells_10e9_l = columns.number()
    patient_risk_ejection_fraction = columns.number()
    patient_risk_weight_kg = columns.number()
    patient_risk_smallest_stent_mm = columns.number()

    class Meta:
        indexes = [
            models.Index(fields=["site", "procedure_date_earliest", "code"], name="case_newest_first"),
            # The same of several sites together.
            models.Index(fields=["procedure_date_earliest", "code", "site"], name="case_newest_of_sites"),
            # With which month a site began.
            models.Index(fields=["site", "procedure_date_latest"], name="case_first_of_site"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["site", "document_id"], name="case_once_at_site"),
            models.CheckConstraint(
                name="case_dates_in_order",
                condition=models.Q(procedure_date_latest__gte=models.F("procedure_date_earliest")),
            ),
            one_of("case_state", "state", list(CaseState)),
            *hard_limits(
                "case", limits_of(fields.PROCEDURE, "procedure") | limits_of(fields.PATIENT, "patient")
            ),
        ]

    def __str__(self) -> str:
        return self.code


class StaffRole(CaseRow):
    """Who of the staff was what in the case."""

    person = columns.staff()
    role = columns.code()

    class Meta:
        indexes = [models.Index(fields=["case", "role", "person"], name="staff_role_in_case")]


class AccessRoute(CaseRow):
    """An artery by which the catheters went in."""

    site = columns.code()
    sheath_f = columns.number()

    class Meta:
        constraints = hard_limits("access", {"sheath_f": (0, 40)})


class GuideCatheter(CaseRow):
    """A guide catheter used in the case."""

    size_f = columns.number()
    shape = columns.code()

    class Meta:
        constraints = hard_limits("guide", {"size_f": (0, 40)})


class Lesion(Placed, CaseRow):
    """A treated place."""

    ref = columns.name(fields.REF)
    graft_type = columns.code()
    graft_site = columns.code()
    graft_recipient_segment = columns.code()
    acc_aha_type = columns.code()
    calcification = columns.code()
    tortuosity = columns.code()
    angulation = columns.code()
    medina = columns.name(8)
    occlusion_months = columns.number()
    reference_diameter_mm = columns.number()
    length_mm = columns.number()

    class Meta:
        constraints = hard_limits("lesion", limits_of(fields.LESION))


class LesionContent(WithDevice, CaseRow):
    """What lay in a lesion: an old stent, a stent placed in this case, thrombus."""

    lesion = models.ForeignKey(Lesion, models.CASCADE, related_name="+")
    what = columns.code()
    post_dilated = columns.code()
    expansion = columns.code()
    age_months = columns.number()

    class Meta:
        constraints = hard_limits("content", {"age_months": (0, 1_200), **limits_of(fields.DEVICE, "device")})

"""What happens to every field of the case document when a case leaves the registry. No Django.

A test compares this table both ways with the table of fields, and a field that is not classified is never released.
What is meant: no identifier, no typed text, no serial, lot or UDI, no date; ages from 90 on as one (45 CFR
164.514(b)(2)(i)(C)); days from the procedure in place of dates.
"""

from __future__ import annotations

import hashlib

from registry.canonical import write
from registry.deidentify.rules import Form, Group, Rule, Treatment, coarsen, drop, keep, laid_out, shift

NOTE: Group = drop("note", "typed text can name anybody")
DIGITS = "a figure of many digits is a fingerprint for whoever holds the laboratory's log"
THRESHOLDS = "a fingerprint with all its digits; cut down, it stays on its side of every published threshold"
COUNTED = "counts from the procedure already"
PERSON = "a person; roles in the case say what matters"
SINGLE_DEVICE = "names a single device, and through it a patient"
OTHER_CASE = "the site's own number of another case; where it went is kept"

DEVICE: tuple[Group, ...] = (
    keep("class wire_class diameter_mm length_mm size_f"),
    drop(
        "model", "a rarely used model, with site and year, points at one case; its class and sizes are kept"
    ),
    drop("udi lot serial", SINGLE_DEVICE),
    NOTE,
)

_GROUPS: dict[str, tuple[Group, ...]] = {
    "": (
        keep("schema_version vocabulary_version status procedure patient lesions complications injuries"),
        keep("outcome antiplatelet_plan duties follow_up"),
        drop("id", "the site's own number of the case; a pseudonym stands in its place"),
        coarsen(Form.PSEUDONYM, "site"),
        drop("narrative", "typed text can name anybody"),
        NOTE,
    ),
    "procedure": (
        coarsen(Form.YEAR, "date", "no part of a date but the year"),
        drop("started_at", "with a time of day the procedure is found in any log"),
        keep("kind urgency presentation dominance access guides support result staff"),
        coarsen(Form.TWO_DIGITS, "heparin_units act_seconds contrast_ml air_kerma_mgy", DIGITS),
        NOTE,
    ),
    "procedure.access[]": (keep("site sheath_f"), NOTE),
    "procedure.guides[]": (keep("size_f shape"), NOTE),
    "procedure.staff[]": (keep("role"), drop("person", PERSON), NOTE),
    "patient": (
        drop("local_reference", "finds the patient in the site's own records"),
        coarsen(Form.AGE_BAND, "age"),
        keep("sex risk"),
        NOTE,
    ),
    "patient.risk": (
        keep("oral_anticoagulant chronic_bleeding_disorder liver_cirrhosis_portal_hypertension"),
        keep("active_cancer_12_months intracranial_bleed_spontaneous intracranial_bleed_traumatic_12_months"),
        keep("brain_avm stroke_moderate_severe_6_months stroke_ischaemic_other bleeding_admission_6_months"),
        keep("bleeding_admission_7_to_12_months bleeding_recurrent surgery_planned_on_dapt"),
        keep("surgery_or_trauma_30_days nsaid_or_steroid_long_term diabetes smoker hypertension"),
        keep("heart_failure_or_low_ef earlier_mi earlier_pci mi_at_presentation paclitaxel_stent"),
        keep("vein_graft_stent smallest_stent_mm"),
        coarsen(
            Form.TWO_DIGITS, "haemoglobin_g_dl platelets_10e9_l egfr_ml_min creatinine_umol_l", THRESHOLDS
        ),
        coarsen(Form.TWO_DIGITS, "white_cells_10e9_l ejection_fraction", THRESHOLDS),
        coarsen(Form.WEIGHT_BAND, "weight_kg", "seen from outside"),
        NOTE,
    ),
    "lesions[]": (
        coarsen(Form.NUMBERED, "ref", "a ref is typed and may hold anything"),
        keep("segments places graft acc_aha_type calcification tortuosity angulation medina contents"),
        keep("reference_diameter_mm length_mm"),
        coarsen(Form.MONTH_BAND, "occlusion_months"),
        NOTE,
    ),
    "lesions[].graft": (keep("type site recipient_segment"), NOTE),
    "lesions[].contents[]": (
        keep("what post_dilated expansion device"),
        coarsen(Form.MONTH_BAND, "age_months", "leads to the earlier procedure"),
        NOTE,
    ),
    "lesions[].contents[].device": DEVICE,
    "complications[]": (
        coarsen(Form.NUMBERED, "ref caused_by lesion", "a ref is typed and may hold anything"),
        keep("after_position actions_known ended began segments places device other_devices situation"),
        keep("mechanisms phase recognised actions declined fragments ending harm"),
        NOTE,
    ),
    "complications[].ended": (keep("where"), drop("case", OTHER_CASE), NOTE),
    "complications[].began": (keep("where"), drop("case", OTHER_CASE), NOTE),
    "complications[].device": (*DEVICE, keep("part_failed length_out_mm reprocessed kept")),
    "complications[].other_devices[]": DEVICE,
    "complications[].recognised": (
        keep("when"),
        coarsen(Form.TIME_BAND, "minute"),
        keep("day", COUNTED),
        NOTE,
    ),
    "complications[].actions[]": (
        keep("position technique aim devices adjuncts result situation_after"),
        coarsen(Form.TIME_BAND, "at_minute"),
        coarsen(Form.DURATION_BAND, "minutes"),
        keep("day", COUNTED),
        coarsen(Form.NUMBERED, "treats"),
        drop("by", PERSON),
        NOTE,
    ),
    "complications[].actions[].devices[]": DEVICE,
    "complications[].declined[]": (
        keep("technique reason after_position"),
        coarsen(Form.NUMBERED, "treats"),
        NOTE,
    ),
    "complications[].fragments[]": (
        coarsen(Form.NUMBERED, "ref"),
        keep("part material length_mm how_measured segments places state reaches_aorta"),
        keep("visible_on_fluoroscopy imaging"),
        drop("mr_note", "typed text can name anybody"),
        NOTE,
    ),
    "complications[].harm": (keep("scale grade"), NOTE),
    "injuries[]": (
        coarsen(Form.NUMBERED, "ref caused_by"),
        keep("kind scale grade segments places after_position controlled treated_with"),
        coarsen(Form.TIME_BAND, "at_minute"),
        keep("day", COUNTED),
        NOTE,
    ),
    "outcome": (
        keep("flow troponin in_hospital status_at_discharge destination death surgery"),
        keep("discharge_day", COUNTED),
        NOTE,
    ),
    "outcome.flow[]": (keep("segment timi"), NOTE),
    "outcome.troponin": (
        drop("assay", "typed text can name anybody"),
        coarsen(Form.TWO_DIGITS, "limit baseline peak hours", DIGITS),
        NOTE,
    ),
    "outcome.in_hospital[]": (
        keep("event scale grade"),
        keep("day", COUNTED),
        drop("treatment", "typed text can name anybody"),
        NOTE,
    ),
    "outcome.death": (keep("cause device_related"), keep("day", COUNTED), NOTE),
    "outcome.surgery": (
        keep("urgency where did"),
        keep("day", COUNTED),
        drop("found", "typed text can name anybody"),
        NOTE,
    ),
    "antiplatelet_plan": (
        keep("drugs anticoagulant reasons patient_told"),
        shift("review_dates"),
        drop("agreed_by", PERSON),
        drop("departs_because", "typed text can name anybody"),
        NOTE,
    ),
    "antiplatelet_plan.drugs[]": (
        keep("agent dose_mg loading_mg for_days lifelong"),
        shift("start stop do_not_stop_before"),
        drop("who_decides_at_stop", "typed text can name anybody"),
        NOTE,
    ),
    "antiplatelet_plan.anticoagulant": (keep("agent for_days"), shift("start stop"), NOTE),
    "duties[]": (keep("kind decided"), shift("aware due done"), drop("owner", PERSON), NOTE),
    "follow_up[]": (
        keep("status adherence events fragment_imaging"),
        shift("date"),
        keep("day", COUNTED),
        NOTE,
    ),
    "follow_up[].events[]": (keep("event scale grade"), shift("date"), keep("day", COUNTED), NOTE),
    "follow_up[].fragment_imaging": (keep("by found"), NOTE),
}

DOCUMENT: dict[str, Rule] = laid_out(_GROUPS, ".")
"""The rule of every field by its path, as `case_fields.walk` names them."""

LET_GO = frozenset(path for path, rule in DOCUMENT.items() if rule.treatment is not Treatment.DROP)
"""The fields that may leave, in whatever form: nothing else is even read for a release."""


def policy_version() -> str:
    """Eight letters that differ with every change of a rule: so releases under different policies are told apart."""
    rules = [[path, str(rule.treatment), str(rule.form)] for path, rule in sorted(DOCUMENT.items())]
    return hashlib.sha256(write(rules).encode()).hexdigest()[:8]

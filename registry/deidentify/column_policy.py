"""What happens to every column of every table when something leaves the registry as de-identified. No Django.

A release is built from case documents; this table judges the rows beside them, so that no new table or column can be
passed on unjudged: a test compares it both ways with the models, and with `field_policy` where a column holds a field.
Columns are named as the models name them.
"""

from __future__ import annotations

from registry.deidentify.field_policy import (
    COUNTED,
    DIGITS,
    OTHER_CASE,
    PERSON,
    SINGLE_DEVICE,
    THRESHOLDS,
)
from registry.deidentify.rules import Form, Group, Rule, coarsen, drop, keep, laid_out, shift

KEY = "a key of this database"
INSIDE = "kept for the working of the registry; says nothing that a release needs"
SEALED = "identifies the patient"
PLACE = "names the laboratory"
VOLUME = "the volume of one laboratory in one month finds the laboratory"
ACCOUNT = "a person with an account"
TYPED_REF = "a ref is typed and may hold anything"

_AXES = "id user_agent ip_address username http_accept path_info attempt_time"

_ROW: Group = keep("unknown empty", "names of fields; a release shows both in the columns themselves")
_CASE_ROW: tuple[Group, ...] = (drop("id case", KEY), keep("index"), _ROW)
_COUNTED_ROW: tuple[Group, ...] = (
    *_CASE_ROW,
    coarsen(Form.PSEUDONYM, "site"),
    coarsen(Form.YEAR, "earliest latest", "no part of a date but the year"),
    drop("month", "no part of a date but the year"),
)
_DEVICE: tuple[Group, ...] = (
    keep("device_class device_wire_class device_diameter_mm device_length_mm device_size_f"),
    drop("device_model device_gtin", "a rarely used model, with site and year, points at one case"),
    drop("device_lot", SINGLE_DEVICE),
)
_DERIVED = "derived from the recorded acts"

_GROUPS: dict[str, tuple[Group, ...]] = {
    "registry.Site": (drop("id", KEY), drop("code name time_zone", PLACE), keep("smallest_class")),
    "registry.MonthlyReturn": (
        drop("id", KEY),
        drop("site", PLACE),
        drop("month procedures reporting", VOLUME),
        drop("confirmed_by", PERSON),
    ),
    "registry.Case": (
        drop("id", KEY),
        _ROW,
        coarsen(Form.PSEUDONYM, "site"),
        drop("document_id code", "names the case inside; a pseudonym stands in its place"),
        drop("state version erased", INSIDE),
        keep("vocabulary_version status"),
        coarsen(Form.YEAR, "procedure_date_earliest procedure_date_latest", "no part of a date but the year"),
        drop("procedure_started_at", "with a time of day the procedure is found in any log"),
        keep("procedure_kind procedure_urgency procedure_presentation procedure_dominance procedure_support"),
        keep("procedure_result patient_sex"),
        coarsen(Form.TWO_DIGITS, "procedure_heparin_units procedure_act_seconds", DIGITS),
        coarsen(Form.TWO_DIGITS, "procedure_contrast_ml procedure_air_kerma_mgy", DIGITS),
        coarsen(Form.AGE_BAND, "patient_age"),
        keep("patient_risk_oral_anticoagulant patient_risk_chronic_bleeding_disorder"),
        keep("patient_risk_liver_cirrhosis_portal_hypertension patient_risk_active_cancer_12_months"),
        keep(
            "patient_risk_intracranial_bleed_spontaneous patient_risk_intracranial_bleed_traumatic_12_months"
        ),
        keep("patient_risk_brain_avm patient_risk_stroke_moderate_severe_6_months"),
        keep("patient_risk_stroke_ischaemic_other patient_risk_bleeding_admission_6_months"),
        keep("patient_risk_bleeding_admission_7_to_12_months patient_risk_bleeding_recurrent"),
        keep("patient_risk_surgery_planned_on_dapt patient_risk_surgery_or_trauma_30_days"),
        keep("patient_risk_nsaid_or_steroid_long_term patient_risk_diabetes patient_risk_smoker"),
        keep("patient_risk_hypertension patient_risk_heart_failure_or_low_ef patient_risk_earlier_mi"),
        keep("patient_risk_earlier_pci patient_risk_mi_at_presentation patient_risk_paclitaxel_stent"),
        keep("patient_risk_vein_graft_stent patient_risk_smallest_stent_mm"),
        coarsen(Form.TWO_DIGITS, "patient_risk_haemoglobin_g_dl patient_risk_platelets_10e9_l", THRESHOLDS),
        coarsen(Form.TWO_DIGITS, "patient_risk_egfr_ml_min patient_risk_creatinine_umol_l", THRESHOLDS),
        coarsen(
            Form.TWO_DIGITS, "patient_risk_white_cells_10e9_l patient_risk_ejection_fraction", THRESHOLDS
        ),
        coarsen(Form.WEIGHT_BAND, "patient_risk_weight_kg", "seen from outside"),
    ),
    "registry.StaffRole": (*_CASE_ROW, drop("person", PERSON), keep("role")),
    "registry.AccessRoute": (*_CASE_ROW, keep("site sheath_f")),
    "registry.GuideCatheter": (*_CASE_ROW, keep("size_f shape")),
    "registry.Lesion": (
        *_CASE_ROW,
        coarsen(Form.NUMBERED, "ref", TYPED_REF),
        keep("segments places graft_type graft_site graft_recipient_segment acc_aha_type calcification"),
        keep("tortuosity angulation medina reference_diameter_mm length_mm"),
        coarsen(Form.MONTH_BAND, "occlusion_months"),
    ),
    "registry.LesionContent": (
        *_CASE_ROW,
        coarsen(Form.NUMBERED, "lesion"),
        keep("what post_dilated expansion"),
        coarsen(Form.MONTH_BAND, "age_months", "leads to the earlier procedure"),
        *_DEVICE,
    ),
    "registry.Complication": (
        *_COUNTED_ROW,
        coarsen(Form.NUMBERED, "ref caused_by lesion", TYPED_REF),
        keep("after_position actions_known ended_where began_where segments places situation mechanisms"),
        drop("ended_case began_case", OTHER_CASE),
        *_DEVICE,
        keep("device_part_failed device_length_out_mm device_reprocessed device_kept phase recognised_when"),
        coarsen(Form.TIME_BAND, "recognised_minute"),
        keep("recognised_day", COUNTED),
        keep("ending harm_scale harm_grade"),
        keep("counted acts_counted in_device_rate cause in_curve attempts", _DERIVED),
    ),
    "registry.Action": (
        *_COUNTED_ROW,
        coarsen(Form.NUMBERED, "complication treats", TYPED_REF),
        keep("position technique aim adjuncts result situation_after"),
        coarsen(Form.TIME_BAND, "at_minute"),
        coarsen(Form.DURATION_BAND, "minutes attempt_minutes"),
        keep("day", COUNTED),
        drop("by", PERSON),
        keep("situation_faced considered_for acts_counted ends_attempt attempt_result", _DERIVED),
        keep("attempt_in_situation attempt_in_complication with_injury with_new_complication", _DERIVED),
    ),
    "registry.DeclinedOption": (
        *_COUNTED_ROW,
        coarsen(Form.NUMBERED, "complication treats", TYPED_REF),
        keep("technique reason after_position"),
        keep("considered_for later_tried also_tried acts_counted", _DERIVED),
    ),
    "registry.InvolvedDevice": (*_CASE_ROW, coarsen(Form.NUMBERED, "complication action"), *_DEVICE),
    "registry.Fragment": (
        *_CASE_ROW,
        coarsen(Form.NUMBERED, "complication ref", TYPED_REF),
        keep("part material length_mm how_measured segments places state reaches_aorta"),
        keep("visible_on_fluoroscopy imaging"),
    ),
    "registry.Injury": (
        *_CASE_ROW,
        coarsen(Form.NUMBERED, "ref caused_by", TYPED_REF),
        keep("kind scale grade segments places after_position controlled treated_with"),
        coarsen(Form.TIME_BAND, "at_minute"),
        keep("day", COUNTED),
    ),
    "registry.Outcome": (
        drop("id case", KEY),
        _ROW,
        coarsen(Form.TWO_DIGITS, "troponin_limit troponin_baseline troponin_peak troponin_hours", DIGITS),
        keep("status_at_discharge destination death_cause death_device_related surgery_urgency"),
        keep("surgery_where surgery_did"),
        keep("discharge_day death_day surgery_day", COUNTED),
    ),
    "registry.FlowReading": (*_CASE_ROW, keep("segment timi")),
    "registry.InHospitalEvent": (*_CASE_ROW, keep("event scale grade"), keep("day", COUNTED)),
    "registry.FollowUp": (
        *_CASE_ROW,
        shift("date_earliest date_latest"),
        keep("day", COUNTED),
        keep("status adherence fragment_imaging_by fragment_imaging_found"),
    ),
    "registry.FollowUpEvent": (
        *_CASE_ROW,
        coarsen(Form.NUMBERED, "follow_up"),
        keep("event scale grade"),
        shift("date_earliest date_latest"),
        keep("day", COUNTED),
    ),
    "registry.Plan": (
        drop("id case", KEY),
        _ROW,
        keep("anticoagulant_agent anticoagulant_for_days reasons patient_told"),
        shift("anticoagulant_start_earliest anticoagulant_start_latest"),
        shift("anticoagulant_stop_earliest anticoagulant_stop_latest review_dates"),
        drop("agreed_by", PERSON),
    ),
    "registry.PlanDrug": (
        *_CASE_ROW,
        keep("agent dose_mg loading_mg for_days lifelong"),
        shift("start_earliest start_latest stop_earliest stop_latest"),
        shift("do_not_stop_before_earliest do_not_stop_before_latest"),
    ),
    "registry.Duty": (
        *_CASE_ROW,
        keep("kind decided"),
        drop("owner", PERSON),
        shift("aware_earliest aware_latest due_earliest due_latest done_earliest done_latest"),
    ),
    "registry.Maker": (drop("id", KEY), drop("name", "with class, site and year it points at a model")),
    "registry.DeviceModel": (
        drop("id", KEY),
        drop("code name maker", "a rarely used model, with site and year, points at one case"),
        keep("device_class"),
        drop("queued", INSIDE),
    ),
    "registry.DeviceUse": (drop("id", KEY), drop("site model month uses", VOLUME)),
    "registry.DataKey": (drop("id owner wrapping_key wrapped", "opens what is sealed"),),
    "registry.Patient": (drop("id case key sealed lookup", SEALED),),
    "registry.Draft": (
        drop("id code site person case key sealed lookup", SEALED),
        drop("version layout page turn once changed_at", INSIDE),
    ),
    "registry.Version": (drop("id case number text batch", "whole documents, sealed part included"),),
    "registry.ImportBatch": (drop("id made_at undone", INSIDE),),
    "registry.JournalEntry": (drop("id at what case text mac", "who did what to which case, and when"),),
    "registry.Head": (drop("id registry number mac seal", INSIDE),),
    "registry.Look": (drop("id at who case what", "who looked at which case, and when"),),
    "registry.Person": (drop("id password last_login code email name is_active joined", ACCOUNT),),
    "registry.Membership": (drop("id person site role active", ACCOUNT),),
    "registry.Invitation": (drop("id person digest made_at used_at", ACCOUNT),),
    "registry.Staff": (drop("id site code person", PERSON),),
    "analytics.SignalWord": (
        drop("id key", KEY),
        drop("code by at sealed", "what people of the laboratory say among themselves"),
        drop("rule subject crossed state", INSIDE),
    ),
    "analytics.Annotation": (
        drop("id key", KEY),
        drop("code by at sealed", "what people of the laboratory say among themselves"),
        drop("site device_model day ended_at", PLACE),
    ),
    "analytics.QuarantinedLot": (
        drop("id key", KEY),
        drop("code by at sealed", "what people of the laboratory say among themselves"),
        drop("site device_model lot ended_at ended_by", SINGLE_DEVICE),
    ),
    "analytics.Snapshot": (drop("id name number as_of content asked_at", INSIDE),),
    "casebook.DataRelease": (
        drop("id", KEY),
        drop("made_at who since until sites head", "the receipt stays inside"),
        drop("key sealed", "opens the pseudonyms of the release and says what it was made for"),
        keep("code manifest policy smallest_class smallest_class_reached considered released suppressed"),
    ),
    "django_tasks_database.DBTaskResult": (
        drop("id status enqueued_at started_at finished_at args_kwargs priority task_path", INSIDE),
        drop(
            "queue_name backend_name run_after return_value exception_class_path traceback worker_ids", INSIDE
        ),
    ),
    "auth.Permission": (drop("id name content_type codename", INSIDE),),
    "auth.Group": (drop("id name", INSIDE),),
    "auth.Group_permissions": (drop("id group permission", INSIDE),),
    "contenttypes.ContentType": (drop("id app_label model", INSIDE),),
    "sessions.Session": (drop("session_key session_data expire_date", ACCOUNT),),
    "account.EmailAddress": (drop("id user email verified primary", ACCOUNT),),
    "account.EmailConfirmation": (drop("id email_address created sent key", ACCOUNT),),
    "axes.AccessAttempt": (drop(_AXES + " get_data post_data failures_since_start", ACCOUNT),),
    "axes.AccessAttemptExpiration": (drop("access_attempt expires_at", ACCOUNT),),
    "axes.AccessFailureLog": (drop(_AXES + " locked_out", ACCOUNT),),
    "axes.AccessLog": (drop(_AXES + " logout_time session_hash", ACCOUNT),),
}

COLUMNS: dict[str, Rule] = laid_out(_GROUPS, ".")
"""The rule of every column by `app.Model.column`."""

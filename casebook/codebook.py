"""The codebook of a release: what each column of each file means, its values, and what the policy did to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from casebook.tables import DERIVED, TABLES, Column
from registry import case_fields as fields
from registry.deidentify.coarsening import bands
from registry.deidentify.rules import Form, Treatment
from registry.terms import UNKNOWN
from registry.vocabulary import word_list, word_lists

HEADING = ("file", "column", "meaning", "type", "values", "policy")
KEYS: Mapping[str, str] = {
    "case": "pseudonym of the case, drawn for this release",
    "site": "pseudonym of the site, drawn for this release",
    "year": "calendar year of the procedure",
    "age_band": "age in years, in tens, 90 and over as one",
    "sex": "sex as recorded",
    "device_class": "class of the failed device of the first complication",
    "lesion": "ref of the lesion in which it lay",
    "complication": "ref of the complication to which it belongs",
    "position": "position of the action in which it was used",
    "number": "number of the follow-up within the case",
    "follow_up": "number of the follow-up that brought it to light",
}
"""Columns that tie the tables together or are quasi-identifiers."""

MEANINGS: Mapping[str, str] = {
    "act_seconds": "activated clotting times",
    "after_position": "position of the action after which it happened or was declined; 0 is before the first",
    "age_months": "months since it was placed",
    "air_kerma_mgy": "air kerma at the reference point",
    "at_minute": "minutes from recognition, negative before it",
    "aware": "when the site became aware",
    "baseline": "troponin before the procedure",
    "caused_by": "ref of the complication that led to it",
    "contrast_ml": "contrast medium used",
    "controlled": "whether the injury was controlled",
    "date": "when the patient was seen or the event happened",
    "day": "days from the procedure",
    "death": "whether a death is recorded",
    "device_related": "whether the death was held to be related to the device",
    "diameter_mm": "labelled diameter",
    "discharge_day": "days from the procedure to discharge",
    "do_not_stop_before": "the earliest day on which the drug may be stopped",
    "done": "when the duty was done",
    "dose_mg": "daily dose",
    "due": "when the duty is due",
    "for_days": "planned duration",
    "grade": "grade of the scale that stands beside it",
    "heparin_units": "heparin given",
    "hours": "hours from the procedure to the peak",
    "length_mm": "length",
    "length_out_mm": "length of what came out",
    "lesion": "ref of the lesion in which it happened",
    "lifelong": "whether the drug is meant for life",
    "limit": "upper reference limit of the assay",
    "loading_mg": "loading dose",
    "medina": "narrowing of proximal main, distal main and side branch, 1 or 0 each",
    "minute": "minutes from the start of the procedure to recognition",
    "minutes": "how long the action took",
    "occlusion_months": "age of the occlusion",
    "patient_told": "whether the patient was told of the plan",
    "peak": "highest troponin after the procedure",
    "position": "position of the action in the order tried",
    "post_dilated": "whether the stent had been dilated again after it was placed",
    "reaches_aorta": "whether the fragment reaches the aorta",
    "ref": "ref within the case, numbered anew",
    "reference_diameter_mm": "diameter of the vessel beside the lesion",
    "reprocessed": "whether the device had been used and reprocessed before",
    "review_dates": "when the plan is to be reviewed",
    "schema_version": "schema version of the case document",
    "sheath_f": "size of the sheath",
    "size_f": "size",
    "start": "when the drug was or is to be started",
    "stop": "when the drug is to be stopped",
    "surgery": "whether surgery is recorded",
    "timi": "flow at the end of the procedure, TIMI 0 to 3",
    "treats": "ref of the injury that it treats or would have treated",
    "visible_on_fluoroscopy": "whether the fragment is seen on fluoroscopy",
    "vocabulary_version": "version of the word lists with which the case was recorded",
}
"""Fields that are no word of a list, by their name."""


def entries() -> Iterator[tuple[str, ...]]:
    """The rows of the codebook, in the order of files and columns."""
    for table, columns in TABLES.items():
        for column in columns:
            yield (f"{table}.csv", column.name, *_entry(table, column))


def _entry(table: str, column: Column) -> tuple[str, str, str, str]:
    """Meaning, type, values and policy of a column."""
    if column.kind is None:
        meaning = DERIVED.get(table, {}).get(column.name)
        if meaning is not None:
            return meaning, "derived", "", "worked out from what is kept, by the counting rules"
        return KEYS[column.name], *_of_key(column.name)
    values, of_list = _values(column.kind)
    return meaning_of(column), _type(column), values if of_list else _coarse(column), str(column.rule)


def _of_key(name: str) -> tuple[str, str, str]:
    match name:
        case "case" | "site":
            return "pseudonym", "", f"{Treatment.COARSEN}: {Form.PSEUDONYM}"
        case "year":
            return "year", "", f"{Treatment.COARSEN}: {Form.YEAR}; quasi-identifier"
        case "age_band":
            values = "; ".join([*bands(Form.AGE_BAND), UNKNOWN])
            return "band", values, f"{Treatment.COARSEN}: {Form.AGE_BAND}; quasi-identifier"
        case "sex" | "device_class":
            return (
                "code",
                _codes(name),
                f"{Treatment.KEEP}; quasi-identifier, unknown also where not recorded",
            )
    return "ref" if name in ("lesion", "complication") else "whole number", "", "ties the tables together"


def meaning_of(column: Column) -> str:
    """What a column that holds a field says; KeyError where a field has no meaning written down."""
    name = column.path.rsplit(".", 1)[-1]
    kind = column.kind
    if isinstance(kind, fields.List):
        if isinstance(kind.item, fields.Thing):
            return f"how many {name.replace('_', ' ')} are recorded: 0 is none, empty is not recorded"
        kind = kind.item
    for criteria in ("risk_answer_criterion", "risk_measure"):
        if column.path.startswith("patient.risk.") and name in word_list(criteria):
            return word_list(criteria)[name].definition
    if isinstance(kind, fields.Code):
        words = word_list(kind.list)
        return f"{words.title}: {words.about}" if words.about else words.title
    unit = kind.unit if isinstance(kind, fields.Number) else ""
    return f"{MEANINGS[name]} ({unit})" if unit and unit not in MEANINGS[name] else MEANINGS[name]


def _type(column: Column) -> str:
    assert column.rule is not None
    kind = column.kind
    listed = isinstance(kind, fields.List)
    if isinstance(kind, fields.List):
        if isinstance(kind.item, fields.Thing):
            return "whole number"
        kind = kind.item
    if column.rule.treatment is Treatment.SHIFT:
        single = "days from the procedure"
    elif column.name.endswith("_band"):
        single = "band"
    elif isinstance(kind, fields.Number):
        single = "whole number" if kind.whole else "number"
    else:
        single = _TYPES[type(kind)] if kind else ""
    return f"list of {single}, semicolons between; [] is recorded as none" if listed else single


_TYPES: Mapping[type[fields.Field], str] = {
    fields.Code: "code",
    fields.Grade: "code",
    fields.YesNo: "yes or no",
    fields.Thing: "yes or empty",
    fields.Label: "ref",
    fields.Reference: "ref",
    fields.Position: "whole number",
    fields.Medina: "text",
    fields.Name: "text",
}


def _values(kind: fields.Field) -> tuple[str, bool]:
    """The values of a field that has a list of them, and whether it has one."""
    inner = kind.item if isinstance(kind, fields.List) else kind
    match inner:
        case fields.Code():
            return _codes(inner.list), True
        case fields.YesNo():
            return "yes; no; unknown", True
        case fields.Grade():
            scales = [name for name in word_lists() if name.startswith("grade_")]
            return "; ".join(f"{name.removeprefix('grade_')}: {_codes(name)}" for name in scales), True
    return "", False


def _coarse(column: Column) -> str:
    form = column.rule.form if column.rule else None
    return "; ".join([*bands(form), UNKNOWN]) if form and bands(form) else ""


def _codes(name: str) -> str:
    return "; ".join(f"{code} = {term.label}" for code, term in word_list(name).terms.items())

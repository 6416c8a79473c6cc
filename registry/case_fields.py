"""The table of fields of the case document: what may stand where, with its limits. No Django.

The JSON Schema, the checks, the rows, the sealing of free text and the de-identification policy are all read from
this one table. Rules that join several fields stand in `documents/rules.py`, those of the ladder in `ladder.py`.
Every object may carry a `note`. Sizes: `hard` limits refuse, `usual` limits are asked about and accepted.
"""

from __future__ import annotations

from typing import Any

from registry.field_kinds import (
    NAME,
    TEXT,
    Clock,
    Code,
    Date,
    Field,
    Grade,
    Identifier,
    Label,
    Limits,
    List,
    Medina,
    Model,
    Name,
    Number,
    Person,
    Position,
    Reference,
    Text,
    Thing,
    YesNo,
)

SCHEMA_VERSION = 1

DOCUMENT_BYTES = 1_000_000
COMPLICATIONS = 20
ACTIONS = 100
ID = 64
REF = 16
DEPTH = 12

PAIR: dict[str, Field] = {"segments": List(Code("segment")), "places": List(Code("place"))}

DAY = Number((0, 36_500), whole=True, unit="days from the procedure")
MINUTE = Number((-10_000, 1_000_000), unit="minutes from recognition")

LARGEST = 999_999_999.999
"""The largest number that a document can hold."""

_SIZES = {"diameter_mm": (0, 100), "length_mm": (0, 10_000), "size_f": (0, 40)}
_UNITS = {"diameter_mm": "mm", "length_mm": "mm, as labelled", "size_f": "French"}

_DEVICE: dict[str, Field] = {
    "model": Model(),
    "class": Code("device_class"),
    "wire_class": Code("wire_class"),
    # Of a device that did not fail an impossible size is asked about, not refused.
    **{size: Number((0, LARGEST), usual, unit=_UNITS[size]) for size, usual in _SIZES.items()},
    "udi": Identifier(limit=500),
    "lot": Name(),
    "serial": Identifier(),
}
DEVICE = Thing("device", _DEVICE)
FAILED_DEVICE = Thing(
    "failed_device",
    {
        **_DEVICE,
        **{size: Number(hard, unit=_UNITS[size]) for size, hard in _SIZES.items()},
        "class": Code("device_class", required=True),
        "part_failed": Code("part_failed"),
        "length_out_mm": Number((0, 10_000), unit="mm"),
        "reprocessed": YesNo(),
        "kept": Code("device_kept"),
    },
    required=True,
)

PROCEDURE = Thing(
    "procedure",
    {
        "date": Date(required=True),
        "started_at": Clock(),
        "kind": Code("procedure_kind"),
        "urgency": Code("urgency"),
        "presentation": Code("presentation"),
        "dominance": Code("dominance"),
        "access": List(
            Thing(
                "access", {"site": Code("access_site"), "sheath_f": Number((0, 40), (4, 16), unit="French")}
            )
        ),
        "guides": List(
            Thing("guide", {"size_f": Number((0, 40), (4, 10), unit="French"), "shape": Code("guide_shape")})
        ),
        "support": Code("support"),
        "heparin_units": Number((0, 500_000), (1_000, 30_000), unit="units"),
        "act_seconds": List(Number((0, 5_000), (80, 600), unit="s")),
        "contrast_ml": Number((0, 10_000), (10, 800), unit="ml"),
        "air_kerma_mgy": Number((0, 100_000), (10, 15_000), unit="mGy"),
        "result": Code("procedure_result"),
        "staff": List(Thing("staff", {"person": Person(), "role": Code("case_role")})),
    },
    required=True,
)


def _risk() -> dict[str, Field]:
    from registry.vocabulary import OTHER, UNKNOWN, word_list

    answers = [code for code in word_list("risk_answer_criterion").codes if code not in (UNKNOWN, OTHER)]
    measures = [
        term for code, term in word_list("risk_measure").terms.items() if code not in (UNKNOWN, OTHER)
    ]
    fields: dict[str, Field] = {code: YesNo() for code in answers}
    for term in measures:
        values = term.properties
        fields[term.code] = Number(tuple(values["hard"]), tuple(values["usual"]), unit=values["unit"])
    return fields


PATIENT = Thing(
    "patient",
    {
        "local_reference": Identifier(),
        "age": Number((0, 120), (18, 100), whole=True, unit="years"),
        "sex": Code("sex"),
        "risk": Thing("risk", _risk()),
    },
)

LESION = Thing(
    "lesion",
    {
        "ref": Label(),
        **PAIR,
        "graft": Thing(
            "graft",
            {
                "type": Code("graft_type"),
                "site": Code("graft_site"),
                "recipient_segment": Code("segment"),
            },
        ),
        "acc_aha_type": Code("acc_aha_type"),
        "calcification": Code("calcification"),
        "tortuosity": Code("tortuosity"),
        "angulation": Code("angulation"),
        "medina": Medina(),
        "occlusion_months": Number((0, 1_200), (0, 360), unit="months"),
        "contents": List(
            Thing(
                "content",
                {
                    "what": Code("lesion_content"),
                    "post_dilated": YesNo(),
                    "expansion": Code("stent_expansion"),
                    "age_months": Number((0, 1_200), (0, 360), unit="months"),
                    "device": DEVICE,
                },
            )
        ),
        "reference_diameter_mm": Number((0, 30), (1.5, 6), unit="mm"),
        "length_mm": Number((0, 1_000), (3, 150), unit="mm"),
    },
)

ACTION = Thing(
    "action",
    {
        "position": Position(lowest=1, required=True),
        "technique": Code("technique", not_here=("any_percutaneous",)),
        "aim": Code("aim"),
        "devices": List(DEVICE),
        "adjuncts": List(Code("technique", not_here=("any_percutaneous",))),
        "result": Code("result"),
        "situation_after": Code("situation"),
        "at_minute": MINUTE,
        "minutes": Number((0, 100_000), (0, 240), unit="minutes"),
        "day": DAY,
        "treats": Reference("injury"),
        "by": Person(),
    },
)
DECLINED = Thing(
    "declined",
    {
        "technique": Code("technique"),
        "reason": Code("decline_reason"),
        "after_position": Position(),
        "treats": Reference("injury"),
    },
)
FRAGMENT = Thing(
    "fragment",
    {
        "ref": Label(),
        "part": Code("part_failed"),
        "material": Code("fragment_material"),
        "length_mm": Number((0, 10_000), (0.5, 400), unit="mm"),
        "how_measured": Code("how_measured"),
        **PAIR,
        "state": Code("fragment_state"),
        "reaches_aorta": YesNo(),
        "visible_on_fluoroscopy": YesNo(),
        "mr_note": Text(),
        "imaging": List(Code("imaging")),
    },
)
COMPLICATION = Thing(
    "complication",
    {
        "ref": Label(),
        "caused_by": Reference("complication"),
        "after_position": Position(),
        "actions_known": Code("actions_known"),
        "ended": Thing("ended", {"where": Code("ended_where"), "case": Name(limit=ID)}),
        "began": Thing("began", {"where": Code("began_where"), "case": Name(limit=ID)}),
        "lesion": Reference("lesion"),
        **PAIR,
        "device": FAILED_DEVICE,
        "other_devices": List(DEVICE),
        "situation": Code("situation", not_here=("closed",), required=True),
        "mechanisms": List(Code("mechanism")),
        "phase": Code("phase"),
        "recognised": Thing(
            "recognised",
            {
                "when": Code("recognised_when"),
                "minute": Number((-10_000, 1_000_000), unit="minutes from the start of the procedure"),
                "day": DAY,
            },
        ),
        "actions": List(ACTION, limit=ACTIONS),
        "declined": List(DECLINED),
        "fragments": List(FRAGMENT),
        "ending": Code("ending", required=True),
        "harm": Thing("harm", {"scale": Code("harm_scale"), "grade": Grade()}),
    },
)
INJURY = Thing(
    "injury",
    {
        "ref": Label(),
        "kind": Code("injury_kind"),
        "scale": Code("injury_scale"),
        "grade": Grade(),
        **PAIR,
        "caused_by": Reference("complication"),
        "after_position": Position(),
        "at_minute": MINUTE,
        "day": DAY,
        "controlled": YesNo(),
        "treated_with": List(Code("technique", not_here=("any_percutaneous",))),
    },
)
OUTCOME = Thing(
    "outcome",
    {
        "flow": List(Thing("flow", {"segment": Code("segment"), "timi": Number((0, 3), whole=True)})),
        "troponin": Thing(
            "troponin",
            {
                "assay": Text(),
                "limit": Number((0, 100_000), unit="as the assay reports"),
                "baseline": Number((0, 99_999_999), unit="as the assay reports"),
                "peak": Number((0, 99_999_999), unit="as the assay reports"),
                "hours": Number((0, 10_000), (0, 72), unit="hours"),
            },
        ),
        "in_hospital": List(
            Thing(
                "in_hospital_event",
                {
                    "event": Code("in_hospital_event"),
                    "day": DAY,
                    "scale": Code("event_scale"),
                    "grade": Grade(),
                    "treatment": Text(),
                },
            )
        ),
        "status_at_discharge": Code("discharge_status"),
        "destination": Code("destination"),
        "discharge_day": DAY,
        "death": Thing("death", {"day": DAY, "cause": Code("death_cause"), "device_related": YesNo()}),
        "surgery": Thing(
            "surgery",
            {
                "day": DAY,
                "urgency": Code("urgency"),
                "where": Code("surgery_where"),
                "did": List(Code("surgery_did")),
                "found": Text(),
            },
        ),
    },
)
PLAN = Thing(
    "plan",
    {
        "drugs": List(
            Thing(
                "drug",
                {
                    "agent": Code("agent"),
                    "dose_mg": Number((0, 5_000), (1, 650), unit="mg"),
                    "loading_mg": Number((0, 5_000), (1, 1_000), unit="mg"),
                    "start": Date(future=True),
                    "stop": Date(future=True),
                    "for_days": Number((0, 36_500), whole=True, unit="days"),
                    "lifelong": YesNo(),
                    "do_not_stop_before": Date(future=True),
                    "who_decides_at_stop": Text(),
                },
            )
        ),
        "anticoagulant": Thing(
            "anticoagulation",
            {
                "agent": Code("anticoagulant"),
                "start": Date(future=True),
                "stop": Date(future=True),
                "for_days": Number((0, 36_500), whole=True, unit="days"),
            },
        ),
        "reasons": List(Code("plan_reason")),
        "review_dates": List(Date(future=True)),
        "agreed_by": Person(),
        "patient_told": YesNo(),
        "departs_because": Text(),
    },
)
DUTY = Thing(
    "duty",
    {
        "kind": Code("duty_kind"),
        "owner": Person(),
        "aware": Date(),
        "due": Date(future=True),
        "done": Date(),
        "decided": Code("duty_decided"),
    },
)
FOLLOW_UP = Thing(
    "follow_up",
    {
        "date": Date(),
        "day": DAY,
        "status": Code("follow_up_status"),
        "adherence": Code("adherence"),
        "events": List(
            Thing(
                "follow_up_event",
                {
                    "event": Code("follow_up_event"),
                    "date": Date(),
                    "day": DAY,
                    "scale": Code("event_scale"),
                    "grade": Grade(),
                },
            )
        ),
        "fragment_imaging": Thing(
            "fragment_imaging", {"by": Code("imaging"), "found": Code("fragment_finding")}
        ),
    },
)

CASE = Thing(
    "case",
    {
        "schema_version": Number((SCHEMA_VERSION, SCHEMA_VERSION), whole=True, unknown=False),
        "vocabulary_version": Name(pattern=r"[0-9]{4}\.[0-9]{1,3}"),
        "id": Name(limit=ID, required=True),
        "site": Name(limit=ID, required=True),
        "status": Code("record_status"),
        "procedure": PROCEDURE,
        "patient": PATIENT,
        "lesions": List(LESION),
        "complications": List(COMPLICATION, limit=COMPLICATIONS, required=True),
        "injuries": List(INJURY),
        "outcome": OUTCOME,
        "antiplatelet_plan": PLAN,
        "duties": List(DUTY),
        "follow_up": List(FOLLOW_UP),
        "narrative": Text(),
    },
)

VERSION_FIELDS = ("schema_version", "vocabulary_version")
"""Filled at import and left out of every comparison of documents."""


def sealed(kind: Field) -> bool:
    """Whether values of this kind are sealed with the case's key."""
    return isinstance(kind, Text | Identifier)


def walk(thing: Thing = CASE, path: str = "") -> list[tuple[str, Field]]:
    """Every property of the document with its path (`complications[].actions[].minutes`), objects and lists too."""
    found: list[tuple[str, Any]] = []
    for name, kind in thing.fields.items():
        here = f"{path}.{name}" if path else name
        found.append((here, kind))
        inner = kind.item if isinstance(kind, List) else kind
        if isinstance(inner, Thing):
            found.extend(walk(inner, f"{here}[]" if isinstance(kind, List) else here))
    return found


__all__ = [
    "ACTION",
    "ACTIONS",
    "CASE",
    "COMPLICATION",
    "COMPLICATIONS",
    "DAY",
    "DECLINED",
    "DEPTH",
    "DEVICE",
    "DOCUMENT_BYTES",
    "DUTY",
    "FAILED_DEVICE",
    "FOLLOW_UP",
    "FRAGMENT",
    "ID",
    "INJURY",
    "LESION",
    "MINUTE",
    "NAME",
    "OUTCOME",
    "PAIR",
    "PATIENT",
    "PLAN",
    "PROCEDURE",
    "REF",
    "SCHEMA_VERSION",
    "TEXT",
    "VERSION_FIELDS",
    "Clock",
    "Code",
    "Date",
    "Field",
    "Grade",
    "Identifier",
    "Label",
    "Limits",
    "List",
    "Medina",
    "Model",
    "Name",
    "Number",
    "Person",
    "Position",
    "Reference",
    "Text",
    "Thing",
    "YesNo",
    "sealed",
    "walk",
]

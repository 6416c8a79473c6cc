"""What was recorded of the place, the device, the procedure and the patient, as labelled sentences; reads no row.

All from the clear document: what identifies anybody and free text are sealed and are not in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from registry.case_fields import PATIENT, Number, Thing, YesNo
from registry.drawings.phrases import counted, device_in_words, joined, lowered, named, raised
from registry.reading.titles import segment_in_words, where_in_words, where_of
from registry.reading.words import (
    Document,
    Fact,
    Known,
    Section,
    days_after,
    graded,
    measured,
    on_day,
    phrase,
    said,
    said_all,
    who,
    yes_no,
)
from registry.terms import OTHER, UNKNOWN
from registry.vocabulary import word_list

_AS_WRITTEN = ("Lot", "Staff", "Agreed by")
"""Facts that begin with a code or number, which no capital may change."""


def section(title: str, facts: Iterable[tuple[str, str]]) -> list[Section]:
    """A section of the facts that say something, each begun with a capital; none where none does."""
    told = [
        Fact(label, value if label.startswith(_AS_WRITTEN) else raised(_once(label, value)))
        for label, value in facts
        if value
    ]
    return [Section(title, told)] if told else []


def _once(label: str, value: str) -> str:
    """`not known` for `result not known`, since the label stands beside it."""
    rest = value.removeprefix(f"{lowered(label)} ")
    return rest if rest.startswith("not ") else value


def numbered(label: str, number: int, of: int) -> str:
    """`Lesion`, or `Lesion 2` where there are several."""
    return label if of == 1 else f"{label} {number}"


def lesion_and_device(clear: Document, known: Known) -> list[Section]:
    """Lesions and what lay in them, the devices that failed, why, and what harm was rated.

    Where several devices failed each has a section of its own.
    """
    complications, lesions = clear["complications"], list(_lesions(clear, known))
    if len(complications) == 1:
        return section("Lesion and device", [*lesions, *_complication(complications[0], known)])
    found = section("Lesion", lesions)
    for number, one in enumerate(complications, start=1):
        situation = lowered(named("situation", one.get("situation"), "situation"))
        where = ("Where", where_of(one, clear.get("lesions") or []))
        found += section(f"Device {number}: {situation}", [where, *_complication(one, known)])
    return found


def _lesions(clear: Document, known: Known) -> Iterator[tuple[str, str]]:
    lesions = clear.get("lesions") or []
    for number, lesion in enumerate(lesions, start=1):
        yield numbered("Lesion", number, len(lesions)), _lesion(lesion)
        if (graft := lesion.get("graft")) is not None:
            yield "Graft", _graft(graft)
        if (contents := lesion.get("contents")) is not None:
            said_contents = "; ".join(_content(content, known) for content in contents)
            yield numbered("In it", number, len(lesions)), said_contents or "nothing lay in it"


def _lesion(lesion: Document) -> str:
    angle, calcification = lesion.get("angulation"), lesion.get("calcification")
    months = lesion.get("occlusion_months")
    return phrase(
        where_in_words(lesion.get("segments"), lesion.get("places")),
        said("acc_aha_type", lesion.get("acc_aha_type"), "type"),
        measured(lesion.get("length_mm"), "mm long"),
        measured(lesion.get("reference_diameter_mm"), "mm", "reference"),
        f"calcification {said('calcification', calcification, 'degree')}" if calcification else "",
        f"tortuosity {said('tortuosity', lesion.get('tortuosity'), 'degree')}"
        if lesion.get("tortuosity")
        else "",
        f"angle {said('angulation', angle, 'size')}" if angle else "",
        f"Medina {lesion['medina']}" if lesion.get("medina") not in (None, UNKNOWN) else "",
        measured(months, "months", "occluded for") if months is not None else "",
    )


def _graft(graft: Document) -> str:
    recipient = graft.get("recipient_segment")
    return phrase(
        said("graft_type", graft.get("type"), "graft"),
        said("graft_site", graft.get("site"), "place in the graft"),
        f"to the {segment_in_words(recipient)}" if recipient else "",
    )


def _content(content: Document, known: Known) -> str:
    device = content.get("device")
    expansion = content.get("expansion")
    return phrase(
        said("lesion_content", content.get("what"), "content"),
        device_in_words(device, known.models) if device else "",
        f"expansion {said('stent_expansion', expansion, 'degree')}"
        if expansion == "good"
        else said("stent_expansion", expansion, "expansion"),
        yes_no(content.get("post_dilated"), "post-dilated", "not post-dilated", "post-dilatation"),
        measured(content.get("age_months"), "months old"),
    )


def _complication(one: Document, known: Known) -> Iterator[tuple[str, str]]:
    device = one.get("device") or {}
    yield "Device", _failed(device, known)
    if others := one.get("other_devices"):
        yield "Also there", "; ".join(device_in_words(other, known.models) for other in others)
    yield "Lot", str(device.get("lot") or "")
    yield "How, as judged", said_all("mechanism", one.get("mechanisms"), "mechanism", "no mechanism named")
    yield "When", _when(one)
    yield "Harm", _harm(one.get("harm") or {})


def _failed(device: Document, known: Known) -> str:
    part = device.get("part_failed")
    return phrase(
        device_in_words(device, known.models),
        f"failed: {said('part_failed', part, 'part')}" if part else "",
        measured(device.get("length_out_mm"), "mm of it came out"),
        yes_no(device.get("reprocessed"), "reprocessed", "not reprocessed", "whether reprocessed is"),
        said("device_kept", device.get("kept"), "what became of it"),
    )


def _when(complication: Document) -> str:
    recognised = complication.get("recognised") or {}
    when = recognised.get("when")
    return phrase(
        said("phase", complication.get("phase"), "phase"),
        f"recognised {said('recognised_when', when, 'moment')}" if when else "",
        measured(recognised.get("minute"), "", "minute"),
        days_after(recognised.get("day")),
    )


def _harm(harm: Document) -> str:
    scale = harm.get("scale")
    grade = graded(scale, harm.get("grade"))
    known = grade and scale not in (None, UNKNOWN, OTHER)
    return phrase(grade, f"by the {word_list('harm_scale')[str(scale)].label}" if known else "")


def procedure_facts(clear: Document, known: Known) -> list[Section]:
    """The procedure in which it happened."""
    procedure = clear["procedure"]
    started = procedure.get("started_at")
    guides = procedure.get("guides")
    routes = procedure.get("access")
    return section(
        "Procedure",
        [
            ("Date", phrase(on_day(procedure["date"]), f"begun at {started}" if started else "")),
            ("Kind", phrase(
                said("procedure_kind", procedure.get("kind"), "kind"),
                said("urgency", procedure.get("urgency"), "urgency"),
            )),
            ("Presentation", said("presentation", procedure.get("presentation"), "presentation")),
            ("Access", "" if routes is None else "; ".join(map(_route, routes)) or "none"),
            ("Guide", "" if guides is None else "; ".join(map(_guide, guides)) or "none"),
            ("Dominance", said("dominance", procedure.get("dominance"), "dominance")),
            ("Support", said("support", procedure.get("support"), "support")),
            ("Heparin", measured(procedure.get("heparin_units"), "units")),
            ("Clotting time", _clotting(procedure.get("act_seconds"))),
            ("Contrast", measured(procedure.get("contrast_ml"), "ml")),
            ("Air kerma", measured(procedure.get("air_kerma_mgy"), "mGy")),
            ("Result", said("procedure_result", procedure.get("result"), "result")),
            ("Staff", "; ".join(_somebody(member, known) for member in procedure.get("staff") or [])),
        ],
    )  # fmt: skip


def _route(route: Document) -> str:
    return phrase(said("access_site", route.get("site"), "artery"), measured(route.get("sheath_f"), "F"))


def _guide(guide: Document) -> str:
    return phrase(said("guide_shape", guide.get("shape"), "shape"), measured(guide.get("size_f"), "F"))


def _clotting(values: list[Any] | None) -> str:
    if values is None:
        return ""
    return f"{joined([measured(value, '') for value in values])} s" if values else "not measured"


def _somebody(member: Document, known: Known) -> str:
    role = said("case_role", member.get("role"), "role")
    return f"{who(member.get('person'), known, 'somebody')}{f', {role}' if role else ''}"


def patient_facts(clear: Document) -> list[Section]:
    """Age, sex and what was recorded of bleeding and other risk; nothing that identifies."""
    patient = clear.get("patient") or {}
    risk = patient.get("risk") or {}
    fields = PATIENT.fields["risk"]
    assert isinstance(fields, Thing)
    answers = [name for name, kind in fields.fields.items() if isinstance(kind, YesNo) and name in risk]
    present = [_answer(name) for name in answers if risk[name] == "yes"]
    absent = [_answer(name) for name in answers if risk[name] == "no"]
    unknown = [_answer(name) for name in answers if risk[name] == UNKNOWN]
    measures = [
        f"{lowered(word_list('risk_measure')[name].label)} {measured(risk[name], kind.unit)}"
        for name, kind in fields.fields.items()
        if isinstance(kind, Number) and name in risk
    ]
    return section(
        "Patient",
        [
            ("Age", measured(patient.get("age"), "years")),
            ("Sex", said("sex", patient.get("sex"), "sex")),
            ("Present", joined(present) or ("none of the risks asked about" if answers else "")),
            ("Absent", joined(absent)),
            ("Not known", joined(unknown)),
            ("Measured", "; ".join(measures)),
        ],
    )


def _answer(name: str) -> str:
    return lowered(word_list("risk_answer_criterion")[name].label)


def place_count(clear: Document) -> str:
    """`2 complications`, for the line under the title; `""` where there is one."""
    number = len(clear["complications"])
    return "" if number == 1 else counted(number, "complication", "complications")

"""What came after: outcome, injuries, fragments, plan, duties, follow-up, as labelled sentences; reads no row."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass

from registry.drawings.phrases import injury_in_words, lowered, named, raised
from registry.partial_dates import span
from registry.reading.facts import numbered, section
from registry.reading.titles import segment_in_words, where_in_words
from registry.reading.words import (
    Document,
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
from registry.terms import UNKNOWN

NOT_A_DETERMINATION = "not a determination of this registry"


def injury_facts(clear: Document) -> list[Section]:
    """Harm to vessel or patient, each with its place, what it came after, and its treatment."""
    injuries = clear.get("injuries")
    if injuries is None:
        return []
    facts = [(raised(injury_in_words(injury)), _injury(injury, clear)) for injury in injuries]
    return section("Injuries", facts or [("In this case", "none")])


def _injury(injury: Document, clear: Document) -> str:
    caused, after = injury.get("caused_by"), injury.get("after_position")
    named_one = f" of complication {caused}" if len(clear["complications"]) > 1 else ""
    treated = said_all("technique", injury.get("treated_with"), "technique", "nothing")
    return phrase(
        where_in_words(injury.get("segments"), injury.get("places")),
        f"seen {f'after rung {after}' if after else 'before the first rung'}{named_one}"
        if caused is not None and after is not None else "",
        measured(injury.get("at_minute"), "", "minute"),
        days_after(injury.get("day")),
        f"treated with {treated}" if treated else "",
        yes_no(injury.get("controlled"), "controlled", "not controlled", "whether controlled is"),
    ) or "No more was recorded"  # fmt: skip


def fragment_facts(clear: Document) -> list[Section]:
    """Pieces of the device, where they are and how that is known."""
    pieces = [
        fragment
        for complication in clear["complications"]
        for fragment in complication.get("fragments") or []
    ]
    return section(
        "Fragments",
        [(numbered("Fragment", n, len(pieces)), _fragment(piece)) for n, piece in enumerate(pieces, start=1)],
    )


def _fragment(piece: Document) -> str:
    measured_by = said("how_measured", piece.get("how_measured"), "how measured")
    imaging = said_all("imaging", piece.get("imaging"), "imaging", "no imaging")
    return phrase(
        said("part_failed", piece.get("part"), "part"),
        said("fragment_material", piece.get("material"), "material"),
        measured(piece.get("length_mm"), "mm long") + (f" ({measured_by})" if measured_by else ""),
        said("fragment_state", piece.get("state"), "state"),
        where_in_words(piece.get("segments"), piece.get("places")),
        yes_no(piece.get("reaches_aorta"), "reaches the aorta", "does not reach the aorta",
               "whether it reaches the aorta is"),
        yes_no(piece.get("visible_on_fluoroscopy"), "visible on fluoroscopy", "not visible on fluoroscopy",
               "whether fluoroscopy shows it is"),
        f"seen by {imaging}" if imaging else "",
    ) or "No more was recorded"  # fmt: skip


def outcome_facts(clear: Document) -> list[Section]:
    """Flow, troponin, events in hospital, discharge, surgery and death."""
    outcome = clear.get("outcome") or {}
    events, surgery, death = outcome.get("in_hospital"), outcome.get("surgery"), outcome.get("death")
    return section(
        "Outcome",
        [
            ("Flow at the end", "; ".join(map(_flow, outcome.get("flow") or []))),
            ("Troponin", _troponin(outcome.get("troponin") or {})),
            ("In hospital", "" if events is None else "; ".join(map(_event, events)) or "no event"),
            ("Surgery", "" if surgery is None else phrase(
                "nothing done" if surgery.get("did") == [] else said_all("surgery_did", surgery.get("did"), "act"),
                said("urgency", surgery.get("urgency"), "urgency"),
                said("surgery_where", surgery.get("where"), "where"),
                days_after(surgery.get("day")),
            )),
            ("At discharge", phrase(
                said("discharge_status", outcome.get("status_at_discharge"), "status"),
                said("destination", outcome.get("destination"), "destination"),
                days_after(outcome.get("discharge_day")),
            )),
            ("Death", "" if death is None else phrase(
                said("death_cause", death.get("cause"), "cause"),
                days_after(death.get("day")),
                yes_no(death.get("device_related"), "related to the device", "not related to the device",
                       "whether related to the device is"),
            )),
        ],
    )  # fmt: skip


def _flow(reading: Document) -> str:
    segment, timi = reading.get("segment"), reading.get("timi")
    grade = "" if timi is None else "flow not known" if timi == UNKNOWN else f"TIMI {timi}"
    return phrase(segment_in_words(segment) if segment else "", grade)


def _troponin(troponin: Document) -> str:
    return phrase(
        measured(troponin.get("baseline"), "", "baseline"),
        measured(troponin.get("peak"), "", "peak"),
        measured(troponin.get("hours"), "hours", "after"),
        measured(troponin.get("limit"), "", "upper limit of the assay"),
    )


def _event(event: Document, list_name: str = "in_hospital_event") -> str:
    return phrase(
        said(list_name, event.get("event"), "event"),
        graded(event.get("scale"), event.get("grade")),
        on_day(event.get("date")),
        days_after(event.get("day")),
    )


def plan_facts(clear: Document, known: Known) -> list[Section]:
    """The antiplatelet plan with its dates; why it departs from what is usual is sealed and not here."""
    plan = clear.get("antiplatelet_plan")
    if plan is None:
        return []
    reviews = plan.get("review_dates")
    facts = [
        (raised(named("agent", drug.get("agent"), "drug")), _drug(drug)) for drug in plan.get("drugs") or []
    ]
    if (anticoagulant := plan.get("anticoagulant")) is not None:
        agent = lowered(named("anticoagulant", anticoagulant.get("agent"), "drug"))
        facts.append(("Anticoagulant", phrase(agent, _from_to(anticoagulant))))
    return section(
        "Antiplatelet plan",
        [
            *facts,
            ("Because", said_all("plan_reason", plan.get("reasons"), "reason")),
            ("Reviews", "" if reviews is None else "; ".join(map(on_day, reviews)) or "no review set"),
            ("Agreed by", who(plan.get("agreed_by"), known, "")),
            ("Patient", yes_no(plan.get("patient_told"), "told", "not told yet", "whether told is")),
        ],
    )


def _drug(drug: Document) -> str:
    lifelong = drug.get("lifelong") == "yes"
    floor = on_day(drug.get("do_not_stop_before"))
    return phrase(
        measured(drug.get("dose_mg"), "mg"),
        measured(drug.get("loading_mg"), "mg", "loading"),
        "lifelong" if lifelong else "",
        _from_to(drug),
        f"not to be stopped before {floor}" if floor else "",
    ) or "No more was recorded"  # fmt: skip


def _from_to(drug: Document) -> str:
    start, stop = on_day(drug.get("start")), on_day(drug.get("stop"))
    days = measured(drug.get("for_days"), "days", "for")
    said_dates = " ".join(
        part for part in (f"from {start}" if start else "", f"to {stop}" if stop else "") if part
    )
    return ", ".join(part for part in (said_dates, days) if part)


@dataclass(frozen=True, slots=True)
class DutyLine:
    """One duty: the mark of where it stands with its word, what is owed, by whom, when, and what was decided."""

    mark: str
    state: str
    what: str
    owner: str
    dates: str
    decided: str


def duty_lines(clear: Document, known: Known, today: datetime.date) -> list[DutyLine]:
    """The duties of a case in the order of its document."""
    return [_duty(duty, known, today) for duty in clear.get("duties") or []]


def _duty(duty: Document, known: Known, today: datetime.date) -> DutyLine:
    mark, state = _stands(duty, today)
    due, done, aware = (on_day(duty.get(name)) for name in ("due", "done", "aware"))
    return DutyLine(
        mark,
        state,
        raised(named("duty_kind", duty.get("kind"), "duty")),
        who(duty.get("owner"), known, "nobody yet"),
        raised(
            phrase(
                f"aware since {aware}" if aware else "",
                f"due {due}" if due else "no due date",
                f"done {done}" if done else "",
            )
        ),
        _decision(duty, known, done),
    )


def _stands(duty: Document, today: datetime.date) -> tuple[str, str]:
    decided, due = duty.get("decided"), duty.get("due")
    if duty.get("done") is not None or decided == "met":
        return "complete", "done"
    if decided == "not_owed":
        return "none", "not owed"
    if due is None:
        return "due", "open"
    days = (span(due).latest - today).days
    if days < 0:
        return "late", f"{-days} {'day' if days == -1 else 'days'} late"
    return "due", "due today" if days == 0 else f"in {days} {'day' if days == 1 else 'days'}"


def _decision(duty: Document, known: Known, done: str) -> str:
    decided = duty.get("decided")
    if decided in (None, "met"):
        return ""
    word = raised(named("duty_decided", decided, "decision"))
    if decided not in ("owed", "not_owed"):
        return f"{word}."
    by = who(duty.get("owner"), known, "somebody not recorded")
    return f"{word}: decided by {by}{f' on {done}' if done else ', day not recorded'}; {NOT_A_DETERMINATION}."


def follow_up_facts(clear: Document) -> list[Section]:
    """Each contact after discharge."""
    return section("Follow-up", [_contact(contact) for contact in clear.get("follow_up") or []])


def _contact(contact: Document) -> tuple[str, str]:
    events, imaging = contact.get("events"), contact.get("fragment_imaging") or {}
    by, found = imaging.get("by"), imaging.get("found")
    label = on_day(contact.get("date")) or raised(days_after(contact.get("day"))) or "Day not recorded"
    return label, phrase(
        said("follow_up_status", contact.get("status"), "status"),
        lowered(named("adherence", contact["adherence"], "adherence")) if contact.get("adherence") else "",
        "" if events is None else "; ".join(_follow_up_events(events)) or "no event",
        f"fragment {said('fragment_finding', found, 'finding')}" if found else "",
        f"by {said('imaging', by, 'imaging')}" if by else "",
    )


def _follow_up_events(events: list[Document]) -> Iterator[str]:
    return (_event(event, "follow_up_event") for event in events)

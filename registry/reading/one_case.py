"""One case as a page shows it: title, pictures with their words, map, facts, plan, duties; nothing that is sealed."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from registry.drawings.coronary_map import coronary_map
from registry.drawings.ladder_picture import NARROW, WIDE, ladder_picture
from registry.drawings.ladder_words import ladder_in_words
from registry.drawings.phrases import lowered, named, raised
from registry.models import Case, Staff
from registry.reading import aftermath, facts
from registry.reading.aftermath import DutyLine
from registry.reading.listing import State, states_of
from registry.reading.model_names import model_names, names_a_lot
from registry.reading.titles import title_of, where_in_words, where_of
from registry.reading.words import Document, Known, Section, on_day, said
from registry.versions import last_version, version_text


@dataclass(frozen=True, slots=True)
class LadderShown:
    """The picture of one complication, wide and for a phone, and the same story in sentences."""

    wide: str
    narrow: str
    story: list[str]


@dataclass(frozen=True, slots=True)
class CaseShown:
    """A case as it is read; pictures are SVG text that this program has made, every word in them escaped.

    `beside` stands beside the ladder, `later` under that where there is room, `below` under the duties. `lots`: a
    device of it has its lot recorded, so that it may be one that was set aside.
    """

    code: str
    title: str
    under_title: list[str]
    states: list[State]
    erased: bool
    lots: bool
    ladders: list[LadderShown]
    map: str
    where: list[str]
    beside: list[Section]
    later: list[Section]
    below: list[Section]
    duties: list[DutyLine]


def case_shown(case: Case, today: datetime.date) -> CaseShown:
    """A case of a door in `access`, from its last version; three statements."""
    clear = version_text(last_version(case.pk).text).clear
    known = known_names(case, clear)
    return CaseShown(
        code=case.code,
        title=title_of(clear),
        under_title=[part for part in _under_title(case, clear) if part],
        states=states_of(case),
        erased=case.erased,
        lots=names_a_lot(clear),
        ladders=_ladders(clear, known),
        map=_map(clear),
        where=_where(clear),
        beside=[*facts.lesion_and_device(clear, known), *aftermath.plan_facts(clear, known)],
        later=facts.procedure_facts(clear, known),
        below=[
            *facts.patient_facts(clear),
            *aftermath.injury_facts(clear),
            *aftermath.fragment_facts(clear),
            *aftermath.outcome_facts(clear),
            *aftermath.follow_up_facts(clear),
        ],
        duties=aftermath.duty_lines(clear, known, today),
    )


def title_of_case(case: Case) -> str:
    """The title of a case alone."""
    return title_of(version_text(last_version(case.pk).text).clear)


def known_names(case: Case, clear: Document) -> Known:
    """The names of the staff of the site who have an account, and of the models that the document names."""
    staff = Staff.objects.filter(site=case.site_id, person__isnull=False).select_related("person")
    return Known(
        staff={one.code: one.person.name for one in staff if one.person is not None and one.person.name},
        models=model_names(clear),
    )


def _under_title(case: Case, clear: Document) -> list[str]:
    procedure = clear["procedure"]
    routes = [said("access_site", route.get("site"), "access") for route in procedure.get("access") or []]
    return [
        f"Case {case.code}",
        case.site.name,
        on_day(procedure["date"]),
        ", ".join(
            part for part in (said("urgency", procedure.get("urgency"), "urgency"), *routes[:1]) if part
        ),
        facts.place_count(clear),
        f"version {case.version}",
    ]


def _ladders(clear: Document, known: Known) -> list[LadderShown]:
    return [
        LadderShown(
            ladder_picture(one, clear, width=WIDE, names=known.models, name=f"ladder-{number}"),
            ladder_picture(one, clear, width=NARROW, names=known.models, name=f"ladder-{number}-narrow"),
            ladder_in_words(one, clear, names=known.models),
        )
        for number, one in enumerate(clear["complications"], start=1)
    ]


def _map(clear: Document) -> str:
    """The map with the segments of the complications, and what became of each in words."""
    marked: dict[str, list[str]] = {}
    chosen: list[str] = []
    for one in clear["complications"]:
        segments = one.get("segments") or _segments_of_lesion(one, clear)
        chosen += segments
        for code in segments[:1]:
            marked.setdefault(code, []).append(lowered(named("ending", one["ending"], "ending")))
    words = {code: "; ".join(dict.fromkeys(told)) for code, told in marked.items()}
    return coronary_map(dominance=clear["procedure"].get("dominance"), chosen=chosen, marked=words)


def _segments_of_lesion(complication: Document, clear: Document) -> list[str]:
    lesions = clear.get("lesions") or []
    own = [lesion for lesion in lesions if lesion.get("ref") == complication.get("lesion")]
    return [
        code
        for lesion in own or (lesions if len(lesions) == 1 else [])
        for code in lesion.get("segments") or []
    ]


def _where(clear: Document) -> list[str]:
    """What the map shows, and the places off it, a sentence for each complication."""
    told, complications = [], clear["complications"]
    for number, one in enumerate(complications, start=1):
        places = where_in_words([], one.get("places"))
        where = where_of(one, clear.get("lesions") or []) or "place not recorded"
        whole = raised(where if not places or places in where else f"{where}; {places}")
        told.append(whole if len(complications) == 1 else f"{one.get('ref') or number}: {lowered(whole)}")
    return told

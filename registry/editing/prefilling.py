"""What the form puts forward at a rung: situation faced, aim, devices, minute, techniques that fit. Pure.

It suggests and never blocks, and puts forward only what follows from what was entered.

Free = the device is still joined, by its own shaft, to what the operator holds; retrieve = no longer joined;
secure = it stays in (counting rule R0).
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache

from registry.canonical import Json, shortest
from registry.case_fields import MINUTE
from registry.editing.places import KEY, Gone
from registry.ladder import ladder_of
from registry.terms import UNKNOWN, Aim
from registry.vocabulary import Term, word_list

JOINED = frozenset(
    {
        "wire_hard_to_withdraw",
        "wire_stuck",
        "wire_knotted",
        "wire_unravelled",
        "stent_stuck_undeployed",
        "stent_partly_off_balloon",
        "covered_stent_not_delivered",
        "balloon_stuck",
        "balloon_will_not_deflate",
        "balloon_ruptured",
        "burr_stuck",
        "burr_stalled",
        "crown_stuck",
        "laser_catheter_stuck",
        "microcatheter_stuck",
        "imaging_catheter_stuck",
        "aspiration_catheter_stuck",
        "guide_extension_stuck",
        "catheter_stuck",
        "catheter_kinked",
        "catheter_knotted",
        "snare_stuck",
        "basket_stuck",
        "filter_stuck",
        "filter_will_not_recapture",
        "device_stuck",
    }
)
"""Situations in which the device is joined to what the operator holds."""

LOOSE = frozenset(
    {
        "wire_jacket_sheared",
        "wire_fractured_end_in_guide",
        "wire_fractured_in_coronary",
        "wire_fractured_reaching_aorta",
        "wire_fractured_end_in_access_artery",
        "wire_fractured_place_unknown",
        "wire_fragment_embolised",
        "stent_off_balloon_on_wire",
        "stent_off_wire_in_coronary",
        "stent_off_balloon_wire_not_known",
        "stent_in_guide_or_sheath",
        "stent_in_access_artery",
        "stent_embolised",
        "balloon_shaft_fractured",
        "balloon_shaft_fractured_end_in_guide",
        "balloon_shaft_fractured_inflated",
        "balloon_fragment_in_coronary",
        "drive_shaft_fractured",
        "burr_detached",
        "microcatheter_tip_fractured",
        "imaging_catheter_fractured",
        "guide_extension_fractured",
        "catheter_fractured",
        "snare_fractured",
        "filter_detached",
        "device_broken",
        "device_lost",
        "device_embolised",
        "device_in_access_artery",
    }
)
"""Situations in which it, or the piece in question, is no longer joined."""

STAYS = frozenset(
    {
        "stent_moved_after_expansion",
        "stent_part_expanded",
        "stent_deformed",
        "covered_stent_not_sealing",
    }
)
"""Situations of a device that is meant to stay in."""


def faced(complication: Mapping[str, Json], key: int | None = None) -> str | None:
    """The situation faced by the rung with that key, or by the next one to come; None where none is recorded.

    Gone where the complication has no such rung.
    """
    rungs = ladder_of(complication).rungs
    for action, rung in zip(complication.get("actions") or [], rungs, strict=True):
        if action.get(KEY) == key:
            return rung.faced
    if key is not None:
        raise Gone(f"There is no rung {key} here, or no longer.")
    situation: str | None = complication.get("situation")
    return (rungs[-1].situation_after or rungs[-1].faced) if rungs else situation


def aim_for(technique: str | None, situation: str | None) -> str | None:
    """The aim that a technique most likely has in a situation, None for a technique that has none of its own."""
    known = word_list("technique")
    aims = known[technique].properties.get("aims", ()) if technique in known and technique else ()
    for fitting, among in ((Aim.FREE, JOINED), (Aim.RETRIEVE, LOOSE), (Aim.SECURE, STAYS)):
        if situation in among and fitting in aims and not {Aim.LOOK, Aim.PREPARE} & set(aims):
            return fitting.value
    return aims[0] if aims else None


def devices_for(technique: str | None) -> tuple[str, ...]:
    """The classes of device that a technique's own name or definition says it takes; none where it leaves them open."""
    known = word_list("technique")
    named = known[technique].properties.get("devices", ()) if technique in known and technique else ()
    return tuple(named)


def minute_after(action: Mapping[str, Json]) -> int | Decimal | None:
    """The minute from recognition at which an act ended: when it began and how long it took, where both are known.

    None where either is not, on another day than the procedure's, and where no minute can be so late.
    """
    began, took = action.get("at_minute"), action.get("minutes")
    if action.get("day") is not None or UNKNOWN in (began, took) or began is None or took is None:
        return None
    ended = Decimal(str(began)) + Decimal(str(took))
    return shortest(ended) if ended <= MINUTE.hard[1] else None


@cache
def suggested(situation: str | None) -> Mapping[str, tuple[str, ...]]:
    """Techniques put forward in a situation, by the aim that they would be given, in the order of the aims.

    What answers an injury is always put forward, under its aim, since it depends on no situation.
    """
    by_aim: dict[str, list[str]] = {aim.value: [] for aim in Aim}
    for code, term in word_list("technique").terms.items():
        aim = aim_for(code, situation)
        if aim and _put_forward(term, aim, situation):
            by_aim[aim].append(code)
    return {aim: tuple(codes) for aim, codes in by_aim.items() if codes}


def _put_forward(term: Term, aim: str, situation: str | None) -> bool:
    if term.retired or term.properties.get("declined_only"):
        return False
    situations = term.properties.get("situations")
    usual = term.properties["aims"][0]
    return situations is None or situation in situations or aim == usual == Aim.TREAT_INJURY

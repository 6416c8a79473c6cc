"""Invented cases that are accepted and hold everything that could be miscounted, the same for the same seed.

Far stranger than a laboratory's: what is rare there (unknown codes, partly known dates, circles of situations) is
frequent here.
"""

from __future__ import annotations

from random import Random
from typing import Any

from tests.builders import usual_aim

Json = dict[str, Any]

SITES = ("north", "South", "elan-2")
CLASSES = {"W-1": "guidewire", "w-2": "guidewire", "B-1": "balloon_semi_compliant", "É": "snare_single_loop"}
MONTHS = [f"{year}-{month:02}" for year in (2024, 2025) for month in range(1, 13)]
SITUATIONS = ("wire_stuck", "wire_unravelled", "wire_fractured_in_coronary", "unknown")
TRIED = ("snare_single", "steady_traction", "balloon_beside", "stent_over_fragment", None, "unknown", "other")
BESIDE = (
    "echo",
    "cut_shaft",
    "fluids",
    "decide_to_leave",
    "transfer_out",
    "drain_pericardium",
    "came_out_with_other",
)
RESCUE = ("resolved", "partly", "unchanged", "worse", "not_delivered", "stopped_for_safety", "unknown", None)
OTHERWISE = ("done", "partly", "worse", "not_delivered", "unknown", None)
ENDINGS = (
    *("out_whole", "used_on", "held_behind_stent", "sealed_in_place", "left_in_place", "lost_place_unknown"),
    *("accepted_as_is", "out_at_surgery", "died_before_end", "transferred_open", "unknown", "other"),
)
KINDS = ("dissection", "tamponade", "unknown", None)


def invented_cases(number: int, seed: int) -> list[Json]:
    """So many cases, over all sites; ids are taken again at other sites."""
    chance = Random(seed)
    return [_case(chance, f"R-{which // len(SITES)}", SITES[which % len(SITES)]) for which in range(number)]


def invented_uses(seed: int) -> dict[tuple[str, str, str], int]:
    """Units opened by site, model and month: some months are missing, some have fewer than there are events."""
    chance = Random(seed)
    return {
        (site, model, month): chance.choice((0, 1, 5, 40, 40, 40))
        for site in SITES
        for model in CLASSES
        for month in MONTHS
        if chance.random() < 0.8
    }


def _without_nothing(thing: Json) -> Json:
    return {key: value for key, value in thing.items() if value is not None}


def _case(chance: Random, document_id: str, site: str) -> Json:
    refs = [f"C{number}" for number in range(1, chance.choice((1, 1, 1, 2, 2, 3)) + 1)]
    complications: list[Json] = []
    for ref in refs:
        complications.append(_complication(chance, ref, complications))
    injuries = (
        [_injury(chance, number, complications) for number in (1, 2, 3)] if chance.random() < 0.7 else None
    )
    _treat(chance, complications, injuries or [])
    month = chance.choice(MONTHS)
    date = chance.choice([f"{month}-{chance.randint(1, 28):02}"] * 8 + [month, month[:4]])
    return _without_nothing(
        {
            "id": document_id,
            "site": site,
            "status": chance.choice([None] * 6 + ["full", "short", "unknown"]),
            "procedure": _without_nothing(
                {"date": date, "kind": chance.choice([None] * 8 + ["pci", "none_found_later", "unknown"])}
            ),
            "complications": complications,
            "injuries": injuries,
        }
    )


def _complication(chance: Random, ref: str, earlier: list[Json]) -> Json:
    situation = chance.choice(SITUATIONS)
    actions = _actions(chance, situation) if chance.random() < 0.9 else None
    ending = chance.choice(ENDINGS)
    return _without_nothing(
        {
            "ref": ref,
            **(_caused(chance, earlier) if earlier and chance.random() < 0.4 else {}),
            "actions_known": chance.choice([None] * 6 + ["all", "some", "none", "unknown"]),
            "ended": chance.choice(
                [None] * 6 + [{"where": where} for where in ("here", "elsewhere", "unknown")]
            ),
            "began": chance.choice(
                [None] * 8 + [{"where": where} for where in ("here", "earlier_procedure", "unknown")]
            ),
            "device": _device(chance),
            "situation": situation,
            "actions": actions,
            "declined": _declined(chance, len(actions or [])),
            "ending": ending,
            "note": "ending: as it was" if ending == "other" else None,
        }
    )


def _device(chance: Random) -> Json:
    model = chance.choice([*CLASSES, *CLASSES, None, "unknown"])
    device_class = CLASSES.get(str(model)) or chance.choice(list(CLASSES.values()))
    return _without_nothing({"model": model, "class": chance.choice([device_class] * 4 + ["unknown"])})


def _caused(chance: Random, earlier: list[Json]) -> Json:
    cause = chance.choice(earlier)
    after = chance.choice([None, *range(len(cause.get("actions") or []) + 1)])
    return {"caused_by": cause["ref"], "after_position": after}


def _injury(chance: Random, number: int, complications: list[Json]) -> Json:
    caused = _caused(chance, complications) if chance.random() < 0.8 else {}
    return _without_nothing({"ref": f"I{number}", "kind": chance.choice(KINDS), **caused})


def _treat(chance: Random, complications: list[Json], injuries: list[Json]) -> None:
    """Say of some acts and options which injury they were for."""
    for complication in complications:
        acts = [act for act in complication.get("actions") or [] if act.get("aim") == "treat_injury"]
        for one in (*acts, *(complication.get("declined") or [])):
            if injuries and chance.random() < 0.6:
                one["treats"] = chance.choice(injuries)["ref"]


def _declined(chance: Random, last: int) -> list[Json] | None:
    if chance.random() < 0.4:
        return None
    return [
        _without_nothing(
            {
                "technique": (technique := chance.choice((*TRIED, "drain_pericardium"))),
                "reason": "would_lose_wire",
                "after_position": chance.choice([None, *range(last + 1)]),
                "note": "as it was" if technique == "other" else None,
            }
        )
        for _ in range(chance.randint(0, 3))
    ]


def _actions(chance: Random, faced: str) -> list[Json]:
    actions: list[Json] = []
    for position in range(1, chance.choice((0, 1, 2, 3, 5, 8)) + 1):
        again = actions and chance.random() < 0.4
        technique = actions[-1].get("technique") if again else chance.choice(TRIED * 2 + BESIDE)
        aim = (
            usual_aim(technique)
            if technique not in (None, "unknown", "other")
            else chance.choice(("free", None))
        )
        if chance.random() < 0.1:
            aim = chance.choice(("free", "retrieve", "secure", "unknown", "other", None))
        if faced == "closed" and aim in ("free", "retrieve", "secure"):
            technique, aim = "echo", "look"
        action = _action(chance, technique, aim, faced)
        actions.append({"position": position, **action})
        faced = action.get("situation_after") or faced
    chance.shuffle(actions)
    return actions


def _action(chance: Random, technique: str | None, aim: str | None, faced: str) -> Json:
    counted = aim in ("free", "retrieve", "secure")
    result = chance.choice(RESCUE if counted or aim == "treat_injury" else OTHERWISE)
    after = chance.choice([None] * 5 + [*SITUATIONS, faced if faced != "closed" else None])
    found_over = aim == "look" and (technique == "came_out_with_other" or chance.random() < 0.1)
    if found_over or (counted and result == "resolved"):
        after = "closed"
    return _without_nothing(
        {
            "technique": technique,
            "aim": aim,
            "result": result,
            "situation_after": after,
            "minutes": chance.choice((None, "unknown", 3)),
            "note": "as it was" if "other" in (technique, aim) else None,
        }
    )

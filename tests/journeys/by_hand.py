"""The case of six rungs as somebody would write it, who had only the document's description before him."""

from __future__ import annotations

import datetime
from typing import Any


def six_rungs_by_hand(code: str) -> dict[str, Any]:
    """What somebody would write of the same case."""
    rungs = [
        ("steady_traction", "free", "unchanged", None),
        ("vasodilator", "free", "unchanged", None),
        ("microcatheter_to_trap", "free", "worse", "wire_unravelled"),
        ("trap_balloon_in_guide", "free", "worse", "wire_fractured_in_coronary"),
        ("snare_single", "retrieve", "unchanged", None),
        ("stent_over_fragment", "secure", "resolved", "closed"),
    ]
    actions: list[dict[str, Any]] = [
        {"position": position, "technique": technique, "aim": aim, "result": result}
        | ({"situation_after": after} if after else {})
        for position, (technique, aim, result, after) in enumerate(rungs, start=1)
    ]
    actions[3]["devices"] = [{"class": "balloon_unspecified"}]
    actions[4]["devices"] = [{"class": "snare_single_loop"}]
    actions[5] |= {"devices": [{"class": "stent_unspecified"}], "minutes": 7}
    return {
        "id": code,
        "site": "north",
        "status": "full",
        "procedure": {"date": datetime.datetime.now(datetime.UTC).date().isoformat()},
        "complications": [
            {
                "ref": "C1",
                "device": {"class": "guidewire"},
                "situation": "wire_stuck",
                "segments": ["9"],
                "actions": actions,
                "declined": [
                    {"technique": "balloon_beside", "reason": "would_risk_stent", "after_position": 3},
                    {"technique": "cardiac_surgery", "reason": "patient_risk_too_high", "after_position": 4},
                ],
                "fragments": [{"ref": "F1", "part": "coil", "state": "held"}],
                "ending": "part_out_rest_held",
                "actions_known": "all",
            }
        ],
        "injuries": [
            {
                "ref": "I1",
                "kind": "dissection",
                "scale": "nhlbi_dissection",
                "grade": "B",
                "caused_by": "C1",
                "after_position": 4,
            }
        ],
    }

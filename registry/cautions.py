"""The one catalogue of cautions: code returns a caution's name, what is printed comes from here. No Django."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

CAUTIONS: Mapping[str, str] = MappingProxyType(
    {
        "trained_teams": (
            "For trained teams. Local protocol, the device's instructions for use and the judgement of the licensed "
            "operator come first. Antiplatelet choices and reporting duties are to be confirmed against current "
            "guidance and local law."
        ),
        "observational": (
            "These are counts of what was recorded. They describe what followed, not what caused it: a technique "
            "tried third met cases that two others had failed, and attempts stop once one resolves."
        ),
        "demo_invented": "This is the demo: its people, sites, devices, cases and rates are invented.",
        "release_rule": (
            "This release meets the rule stated in it. Colleagues may still recognise a rare case; share it "
            "accordingly, and do not link it with other data to find out who is meant."
        ),
        "not_clinically_reviewed": "Not clinically reviewed: no responsible person of this site has signed it yet.",
    }
)


def caution(name: str) -> str:
    """The wording of a caution; KeyError where there is none of that name."""
    return CAUTIONS[name]

"""The title of a case: what went wrong with which device, and where; may read no row."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from registry.drawings.phrases import counted, joined, lowered, named, raised
from registry.terms import OTHER, UNKNOWN
from registry.vocabulary import word_list

Document = Mapping[str, Any]

_NUMBER = re.compile(r" \([0-9a-z]+\)$")
_PARTS_OF_A_VESSEL = ("proximal", "mid", "distal", "apical")
_ONE_OF_SEVERAL = ("Other device", "Guide or diagnostic catheter", "Burr or crown")
_SAY_WHERE_THEMSELVES = ("In ", "Inside ", "Round ")


def title_of(clear: Document) -> str:
    """`Stent off its balloon in the mid right coronary`, of a clear document of a case."""
    complications = clear["complications"]
    return title_in_words(
        str(complications[0]["situation"]),
        (complications[0].get("device") or {}).get("class"),
        where_of(complications[0], clear.get("lesions") or []),
        others=len(complications) - 1,
    )


def title_in_words(situation: str, device_class: str | None, where: str, others: int = 0) -> str:
    """The same from its parts: codes of the situation and of the device, where in words, other complications."""
    said = named("situation", situation, "situation").partition(", ")[0]
    device = named("device_class", device_class, "device").partition(", ")[0]
    if situation in (UNKNOWN, OTHER):
        said = f"{device}, {lowered(said)}"
    for several in _ONE_OF_SEVERAL:
        if said.startswith(f"{several} "):
            said = raised(device) + said.removeprefix(several)
    if said.startswith("Wire "):
        said = f"Guidewire{said.removeprefix('Wire')}"
    if where:
        joint = ", " if " in the " in said else " "
        said = f"{said}{joint}{where}"
    return (
        raised(said)
        if others < 1
        else f"{raised(said)}, and {counted(others, 'more complication', 'more complications')}"
    )


def where_of(complication: Document, lesions: Sequence[Document]) -> str:
    """`in the mid right coronary`: where the complication is, else where its lesion is; `""` where neither is known."""
    named_lesion = [lesion for lesion in lesions if lesion.get("ref") == complication.get("lesion")]
    for placed in (complication, *named_lesion, *(lesions if len(lesions) == 1 else ())):
        if found := where_in_words(placed.get("segments"), placed.get("places")):
            return found
        if placed.get("graft"):
            return "in a bypass graft"
    return ""


def where_in_words(segments: Iterable[str] | None, places: Iterable[str] | None) -> str:
    """At most two segments, else places, as a phrase with its preposition; `""` where none is known."""
    known = [code for code in segments or () if code not in (UNKNOWN, OTHER)]
    if known:
        rest = [f"{len(known) - 2} more"] if len(known) > 2 else []
        return f"in the {joined([*_together(known[:2]), *rest])}"
    return joined([_place(code) for code in list(places or ())[:2] if code not in (UNKNOWN, OTHER)])


def segment_in_words(code: str) -> str:
    """`mid right coronary` for the label `Right coronary, mid (2)`."""
    if code in (UNKNOWN, OTHER):
        return named("segment", code, "segment")
    label = _NUMBER.sub("", word_list("segment")[code].label)
    vessel, _, part = label.partition(", ")
    return f"{part} {lowered(vessel)}" if part in _PARTS_OF_A_VESSEL else lowered(label)


def _together(codes: Sequence[str]) -> list[str]:
    """Segments in words, two of one vessel under its name once: `proximal and mid right coronary`."""
    told = [segment_in_words(code) for code in codes]
    parts = [words.partition(" ") for words in told]
    if len({vessel for _, _, vessel in parts}) == 1 and all(
        part in _PARTS_OF_A_VESSEL for part, _, _ in parts
    ):
        return [f"{joined([part for part, _, _ in parts])} {parts[0][2]}"]
    return told


def _place(code: str) -> str:
    label = word_list("place")[code].label.partition(", ")[0]
    if label.startswith(_SAY_WHERE_THEMSELVES):
        return lowered(label)
    article = "an" if label.startswith("Artery") else "the" if not label.endswith("branch") else "a"
    return f"in {article} {lowered(label)}"

"""The choices that the logging page puts as buttons and lists: what fits first, the rest behind a list. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from registry.canonical import Json
from registry.editing import suggested
from registry.editing.rungs import may_end
from registry.field_kinds import Code
from registry.ladder import COUNTED_AIMS
from registry.terms import Aim
from registry.vocabulary import WordList, word_list


@dataclass(frozen=True, slots=True)
class Choice:
    """One button: the operation that it sends, its word, whether it is what stands, a mark's name before the word."""

    do: str
    label: str
    chosen: bool = False
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Pick:
    """A list with a button beside it: the operation to which the chosen value is added, and the values by group."""

    do: str
    label: str
    act: str
    groups: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    chosen: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """A question with its answers as buttons, those of further groups behind a word, and a list of the rest.

    `name` is where the cursor goes when the question is asked next; none where it goes beside the question.
    """

    name: str
    asks: str
    choices: tuple[Choice, ...]
    further: tuple[tuple[str, tuple[Choice, ...]], ...] = ()
    pick: Pick | None = None
    answer: str = ""
    told: tuple[str, ...] = ()


CLASSES_FIRST = (
    "guidewire",
    "stent_drug_eluting",
    "balloon_semi_compliant",
    "balloon_non_compliant",
    "rotational_burr",
    "microcatheter_single",
    "guide_extension",
    "ivus_solid_state",
    "guide_catheter",
)
"""Device classes put as buttons; which ones is common practice, no source."""
ENDINGS_FIRST = (
    "out_whole",
    "out_in_pieces",
    "part_out_rest_held",
    "part_out_rest_left",
    "left_in_place",
    "crushed_in_place",
    "out_at_surgery",
)
_GROUP_OF_FAMILY: Mapping[str, str] = MappingProxyType(
    {
        "guidewire": "wire",
        "stent": "stent",
        "scaffold": "stent",
        "balloon": "balloon",
        "burr": "atherectomy",
        "crown": "atherectomy",
        "cutter": "atherectomy",
        "laser_catheter": "atherectomy",
        "microcatheter": "catheter",
        "imaging_catheter": "catheter",
        "guide_catheter": "catheter",
        "diagnostic_catheter": "catheter",
        "guide_extension": "catheter",
        "aspiration": "catheter",
        "snare": "retrieval",
        "basket": "retrieval",
        "forceps": "retrieval",
        "filter": "retrieval",
    }
)
_GROUPS = (
    ("wire", "Guidewires"),
    ("stent", "Stents"),
    ("balloon", "Balloons"),
    ("atherectomy", "Atherectomy"),
    ("catheter", "Catheters"),
    ("retrieval", "Retrieval"),
    ("other_device", "Other devices"),
    ("", "Else"),
)
AIM_WORDS: Mapping[str, str] = MappingProxyType(
    {
        Aim.FREE: "To free",
        Aim.RETRIEVE: "To retrieve",
        Aim.SECURE: "To secure in place",
        Aim.LOOK: "Looked",
        Aim.PREPARE: "Prepared",
        Aim.TREAT_INJURY: "Treated the injury",
        Aim.SUPPORT: "Supported the patient",
        Aim.LEAVE: "Left it",
        Aim.HAND_OVER: "Handed over",
    }
)


def offered(words: WordList, not_here: Collection[str] = ()) -> list[str]:
    """The codes of a list that are offered, in its order."""
    return [code for code, term in words.terms.items() if not term.retired and code not in not_here]


def label_of(list_name: str, code: Json) -> str:
    """The word for a code; "not recorded" for none."""
    words = word_list(list_name)
    if code is None:
        return "not recorded"
    return words[code].label if code in words else str(code)


def buttons(do: str, list_name: str, codes: Iterable[str], chosen: Json = None) -> tuple[Choice, ...]:
    """A button for each code."""
    words = word_list(list_name)
    return tuple(Choice(f"{do} {code}", words[code].label, code == chosen) for code in codes)


def listed(list_name: str, codes: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Codes with their words, for a list."""
    words = word_list(list_name)
    return tuple((code, words[code].label) for code in codes)


def device_class(place: str, chosen: str | None) -> Question:
    """Which device went wrong."""
    words = word_list("device_class")
    rest = tuple(code for code in offered(words) if code not in CLASSES_FIRST)
    do = f"set {place}.device.class"
    return Question(
        f"{place}.device.class",
        "Which device went wrong?",
        buttons(do, "device_class", CLASSES_FIRST, chosen),
        pick=Pick(do, "Another device", "Take it", (("", listed("device_class", rest)),)),
        answer=label_of("device_class", chosen) if chosen else "",
    )


def situation(
    name: str, asks: str, device: str | None, chosen: str | None, without: Collection[str]
) -> Question:
    """A situation: those of the device's kind as buttons, all others in a list."""
    words = word_list("situation")
    family = word_list("device_class")[device].properties.get("family", "") if device else ""
    group = _GROUP_OF_FAMILY.get(family, "other_device" if device else "")
    codes = offered(words, without)
    fitting = [code for code in codes if group and words[code].properties.get("group") == group]
    groups = tuple(
        (title, listed("situation", [c for c in codes if words[c].properties.get("group", "") == one]))
        for one, title in _GROUPS
        if one != group or not fitting
    )
    do = f"set {name}"
    return Question(
        name,
        asks,
        buttons(do, "situation", fitting, chosen),
        pick=Pick(do, "Another situation" if fitting or chosen else "A situation", "Take it", groups),
        answer=label_of("situation", chosen) if chosen else "",
    )


def ending(place: str, chosen: str | None) -> Question:
    """How it ended."""
    rest = tuple(code for code in offered(word_list("ending")) if code not in ENDINGS_FIRST)
    do = f"set {place}.ending"
    return Question(
        f"{place}.ending",
        "How did it end?",
        buttons(do, "ending", ENDINGS_FIRST, chosen),
        pick=Pick(do, "Another ending", "Take it", (("", listed("ending", rest)),)),
        answer=label_of("ending", chosen) if chosen else "",
    )


def techniques(do: str, name: str, asks: str, faced: str | None, chosen: str | None = None) -> Question:
    """What was tried: techniques that fit the situation, those to free, retrieve or secure first, all in a list."""
    words = word_list("technique")
    fitting = suggested(faced)
    first = [code for aim in (Aim.FREE, Aim.RETRIEVE, Aim.SECURE) for code in fitting.get(aim, ())]
    further = tuple(
        (AIM_WORDS[aim], buttons(do, "technique", codes, chosen))
        for aim, codes in fitting.items()
        if aim in AIM_WORDS and aim not in COUNTED_AIMS
    )
    codes = [c for c in offered(words, ("any_percutaneous",)) if not words[c].properties.get("declined_only")]
    every = sorted(listed("technique", codes), key=lambda one: one[1])
    return Question(
        name,
        asks,
        buttons(do, "technique", first, chosen),
        further,
        Pick(do, "Another technique", "Take it", (("", tuple(every)),)),
        answer=label_of("technique", chosen) if chosen else "",
    )


def results(place: str, key: int, aim: str | None, chosen: str | None) -> Question:
    """What came of a rung: the results that its aim can have, with their marks."""
    words = word_list("result")
    fitting = [code for code in offered(words) if may_end(aim, code)]
    do = f"result {place} {key}"
    choices = tuple(Choice(f"{do} {code}", words[code].label, code == chosen, code) for code in fitting)
    said = label_of("result", chosen) if chosen else ""
    return Question(f"{place}.a{key}.result", "What came of it?", choices, answer=said)


def coded(name: str, asks: str, kind: Code, chosen: str | None, without: Collection[str] = ()) -> Question:
    """A question of few words, all of them buttons; those in `without` only where one is chosen already."""
    not_here = {*kind.not_here, *without} - {chosen}
    codes = offered(word_list(kind.list), not_here)
    return Question(
        name,
        asks,
        buttons(f"set {name}", kind.list, codes, chosen),
        answer=label_of(kind.list, chosen) if chosen else "",
    )


def aims(name: str, chosen: str | None) -> Question:
    """To what end."""
    return coded(name, "To what end?", Code("aim"), chosen)


def segments(place: str, chosen: Collection[str]) -> tuple[Choice, ...]:
    """Every segment by name, to be touched in or out."""
    words = word_list("segment")
    return tuple(
        Choice(f"segment {place} {code}", words[code].label, code in chosen) for code in offered(words)
    )


def beyond(place: str, chosen: Collection[str]) -> Pick:
    """Places outside the segments, put in or out."""
    codes = listed("place", offered(word_list("place")))
    marked = tuple(
        (code, f"{label} (chosen: take it out)" if code in chosen else label) for code, label in codes
    )
    return Pick(f"toggle {place}.places", "A place outside the coronaries", "Add or remove", (("", marked),))


def told(question: Question, says: Mapping[str, tuple[str, ...]]) -> Question:
    """The question with what the checks say of its field."""
    return replace(question, told=says.get(question.name, ()))

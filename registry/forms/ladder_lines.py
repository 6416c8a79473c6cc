"""The ladder editor as the page shows it: rungs as lines, one open, what follows each, the next rung asked. Pure.

Takes a working draft (rows with keys) and hands out plain values for templates; changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from registry import case_fields as fields
from registry.drawings.ladder_story import NO_NAMES
from registry.drawings.phrases import (
    aim_in_words,
    clock,
    device_in_words,
    injury_in_words,
    known_number,
    lowered,
    plain,
    result_in_words,
)
from registry.editing import faced
from registry.editing.places import KEY
from registry.editing.prefilling import minute_after
from registry.forms import choices
from registry.forms.choices import Pick, Question
from registry.ladder import ladder_of
from registry.terms import CLOSED, Result
from registry.vocabulary import word_list, word_lists


@dataclass(frozen=True, slots=True)
class Line:
    """A row beside a rung: an option not tried or an injury, with its place, whether it is open, and what is asked."""

    kind: str
    place: str
    words: str
    opened: bool
    remove: str
    questions: tuple[Question, ...] = ()
    picks: tuple[Pick, ...] = ()


@dataclass(frozen=True, slots=True)
class Said:
    """Part of the sentence about an open rung: what stands, put forward or not, why, and where it is changed."""

    lead: str
    words: str
    why: str
    name: str


@dataclass(frozen=True, slots=True)
class RungLine:
    """One rung: its line, the band of a new situation after it, what stands after it, and its questions if open.

    `technique_asked` and `aim_asked` are the first two of them; `said` tells the aim, the devices and the minute.
    `faces` is the situation that it faces.
    """

    place: str
    complication: str
    key: int
    number: int
    technique: str
    words: str
    mark: str
    opened: bool
    first: bool
    last: bool
    band: str = ""
    worse: bool = False
    after: tuple[Line, ...] = ()
    faces: str = ""
    technique_asked: Question | None = None
    said: tuple[Said, ...] = ()
    aim_asked: Question | None = None
    questions: tuple[Question, ...] = ()
    picks: tuple[Pick, ...] = ()

    @property
    def first_asked(self) -> tuple[str, ...]:
        """The names of what stands before the rest of an open rung: the row, its questions and its minutes."""
        fields_ = ("technique", "aim", "result", "situation_after", "at_minute", "minutes")
        return (self.place, *(f"{self.place}.{field}" for field in fields_))


@dataclass(frozen=True, slots=True)
class LadderView:
    """One complication's ladder: the situation at its start and now, the rungs, what comes next."""

    situation: str
    now: str
    before: tuple[Line, ...]
    rungs: tuple[RungLine, ...]
    closed: bool
    busy: bool
    next: Question | None
    picks: tuple[Pick, ...]
    fragments: tuple[Line, ...]


def ladder_view(
    document: Mapping[str, Any],
    complication: Mapping[str, Any],
    opened: str,
    names: Mapping[str, str] = NO_NAMES,
) -> LadderView:
    """The ladder of one complication of a draft; `opened` is the place of the row that is shown open.

    `names` are those of device models by code.
    """
    place = f"C{complication[KEY]}"
    rungs = ladder_of(complication).rungs
    actions = complication.get("actions") or []
    lines = []
    for action, rung in zip(actions, rungs, strict=True):
        lines.append(_rung(document, complication, action, rung, opened, len(actions), names))
    now = faced(complication)
    words = f"Rung {len(actions) + 1}: what was tried?"
    after_all = choices.techniques(f"add rung {place}", f"add rung {place}", words, now)
    return LadderView(
        choices.label_of("situation", complication.get("situation")),
        choices.label_of("situation", now),
        tuple(_after(document, complication, 0, opened)),
        tuple(lines),
        now == CLOSED,
        any(line.opened for line in lines),
        after_all if complication.get("situation") else None,
        (_declining(place), _injuring(place, None)),
        tuple(_fragments(complication, place, opened)),
    )


def _declining(place: str) -> Pick:
    words = word_list("technique")
    codes = choices.offered(words, ("any_percutaneous",))
    every = sorted(choices.listed("technique", codes), key=lambda one: one[1])
    return Pick(f"decline {place}", "Add an option weighed and not tried", "Add it", (("", tuple(every)),))


def _injuring(place: str, key: int | None) -> Pick:
    codes = choices.offered(word_list("injury_kind"))
    do = "injury-after" if key is not None else "injury"
    asks = "Add an injury seen after this rung" if key is not None else "Add an injury"
    words = f"{do} {place} {key}" if key is not None else f"{do} {place}"
    return Pick(words, asks, "Add it", (("", choices.listed("injury_kind", codes)),))


def _rung(
    document: Mapping[str, Any],
    complication: Mapping[str, Any],
    action: Mapping[str, Any],
    rung: Any,
    opened: str,
    count: int,
    names: Mapping[str, str],
) -> RungLine:
    above = f"C{complication[KEY]}"
    place = f"{above}.a{action[KEY]}"
    is_open = opened == place or opened.startswith(f"{place}.")
    band = choices.label_of("situation", rung.situation_after) if rung.situation_after else ""
    technique = action.get("technique")
    return RungLine(
        place,
        above,
        action[KEY],
        rung.position,
        choices.label_of("technique", technique) if technique else "Technique not recorded",
        rung_in_words(document, action, names),
        str(action.get("result") or ""),
        is_open,
        rung.position == 1,
        rung.position == count,
        band,
        action.get("result") == Result.WORSE,
        tuple(_after(document, complication, rung.position, opened)),
        lowered(choices.label_of("situation", rung.faced)),
        _technique_asked(place, action, rung) if is_open else None,
        _said(complication, action, place, names) if is_open else (),
        choices.aims(f"{place}.aim", action.get("aim")) if is_open else None,
        _questions(complication, action, above) if is_open else (),
        (_injuring(above, action[KEY]),) if is_open else (),
    )


def rung_in_words(document: Mapping[str, Any], action: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Aim, result, devices, minutes."""
    injuries = {str(one.get("ref")): one for one in document.get("injuries") or []}
    parts = [aim_in_words(action, injuries), result_in_words(action)]
    parts += [device_in_words(device, names) for device in action.get("devices") or []]
    if (at := known_number(action.get("at_minute"))) is not None:
        parts.append(f"begun at {clock(at)}")
    if (minutes := known_number(action.get("minutes"))) is not None:
        parts.append(f"for {clock(minutes)}")
    return " · ".join(parts)


def _technique_asked(place: str, action: Mapping[str, Any], rung: Any) -> Question:
    name = f"{place}.technique"
    return choices.techniques(f"set {name}", name, "What was tried?", rung.faced, action.get("technique"))


def _said(
    complication: Mapping[str, Any], action: Mapping[str, Any], place: str, names: Mapping[str, str]
) -> tuple[Said, ...]:
    """Aim, devices and minute as one reads them; of a minute that follows from the rung before, that it does."""
    said = []
    if aim := action.get("aim"):
        words = choices.AIM_WORDS.get(aim) or f"Aim: {lowered(choices.label_of('aim', aim))}"
        said.append(Said("", words, "", f"{place}.aim"))
    for device in action.get("devices") or []:
        words = lowered(device_in_words(device, names))
        said.append(Said("With", words, "", f"{place}.device{device[KEY]}"))
    if (at := known_number(action.get("at_minute"))) is not None:
        above = [one for one in complication["actions"] if one["position"] == action["position"] - 1]
        follows = above and minute_after(above[0]) == action["at_minute"]
        why = f"where rung {above[0]['position']} ended" if follows else "from recognition"
        said.append(Said("Begun at", f"{plain(at)} min", why, f"{place}.at_minute"))
    return tuple(said)


def _questions(
    complication: Mapping[str, Any], action: Mapping[str, Any], above: str
) -> tuple[Question, ...]:
    place = f"{above}.a{action[KEY]}"
    aim, result = action.get("aim"), action.get("result")
    asked = [choices.results(above, action[KEY], aim, result)]
    if result in (Result.PARTLY, Result.WORSE) or action.get("situation_after") or aim == "look":
        device = (complication.get("device") or {}).get("class")
        asked.append(
            choices.situation(
                f"{place}.situation_after",
                "What is the situation now?",
                device,
                action.get("situation_after"),
                (),
            )
        )
    return tuple(asked)


def _after(
    document: Mapping[str, Any], complication: Mapping[str, Any], position: int, opened: str
) -> list[Line]:
    """What stands after a position: options not tried, then injuries; what has no place stands before the first."""
    above = f"C{complication[KEY]}"
    lines = [
        _declined(option, above, opened)
        for option in complication.get("declined") or []
        if (option.get("after_position") or 0) == position
    ]
    ref = complication.get("ref")
    for injury in document.get("injuries") or []:
        here = ref is not None and injury.get("caused_by") == ref
        if here and (injury.get("after_position") or 0) == position:
            lines.append(injury_line(injury, opened))
    return lines


def _declined(option: Mapping[str, Any], above: str, opened: str) -> Line:
    place = f"{above}.d{option[KEY]}"
    technique, reason = option.get("technique"), option.get("reason")
    words = f"Not tried: {lowered(choices.label_of('technique', technique)) if technique else 'technique not recorded'}"
    words += f", {lowered(choices.label_of('decline_reason', reason))}" if reason else ", reason not recorded"
    kind = fields.DECLINED.fields["reason"]
    asked: tuple[Question, ...] = ()
    if opened == place:
        assert isinstance(kind, fields.Code)
        asked = (choices.coded(f"{place}.reason", "Why was it not tried?", kind, reason),)
    return Line("declined", place, words, opened == place, f"remove declined {above} {option[KEY]}", asked)


def injury_line(injury: Mapping[str, Any], opened: str) -> Line:
    """An injury as a line, its scale and treatment asked where it is open."""
    place = f"I{injury[KEY]}"
    asked: list[Question] = []
    picks: list[Pick] = []
    if opened == place:
        scale = injury.get("scale")
        asked.append(choices.coded(f"{place}.scale", "Graded by which scale?", _SCALE, scale))
        if scale and f"grade_{scale}" in word_lists():
            grades = word_list(f"grade_{scale}")
            found = choices.buttons(
                f"set {place}.grade", f"grade_{scale}", choices.offered(grades), injury.get("grade")
            )
            asked.append(Question(f"{place}.grade", "Which grade?", found))
        codes = choices.offered(word_list("technique"), ("any_percutaneous",))
        every = tuple(sorted(choices.listed("technique", codes), key=lambda one: one[1]))
        picks.append(Pick(f"toggle {place}.treated_with", "Treated with", "Add or remove", (("", every),)))
    words = injury_in_words(injury)
    if treated := injury.get("treated_with"):
        words += ", treated with " + ", ".join(lowered(choices.label_of("technique", one)) for one in treated)
    return Line(
        "injury", place, words, opened == place, f"remove injury {injury[KEY]}", tuple(asked), tuple(picks)
    )


def _fragments(complication: Mapping[str, Any], above: str, opened: str) -> list[Line]:
    lines = []
    for piece in complication.get("fragments") or []:
        place = f"{above}.f{piece[KEY]}"
        part = (
            choices.label_of("part_failed", piece.get("part")) if piece.get("part") else "Part not recorded"
        )
        state = (
            choices.label_of("fragment_state", piece.get("state"))
            if piece.get("state")
            else "state not recorded"
        )
        lines.append(
            Line(
                "due",
                place,
                f"{part}, {lowered(state)}",
                opened == place,
                f"remove fragment {above} {piece[KEY]}",
            )
        )
    return lines


_SCALE = fields.Code("injury_scale")

__all__ = ["LadderView", "Line", "RungLine", "injury_line", "ladder_view", "rung_in_words"]

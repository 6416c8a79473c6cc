"""One complication as a row of steps in the order in which it is told; picture and words are both made of these.

It reads the ladder by the counting rules and adds the words; notes are sealed text and never enter.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum, auto
from types import MappingProxyType
from typing import Any

from registry.drawings import phrases
from registry.drawings.phrases import Document, counted, joined, lowered, named, raised
from registry.ladder import Attempt, Declined, Ladder, Rung, acts_are_known, ladder_of
from registry.terms import CLOSED, OTHER, UNKNOWN, Result
from registry.vocabulary import word_list

NO_NAMES: Mapping[str, str] = MappingProxyType({})


class Turn(Enum):
    """What a step does to the situation."""

    BEGINS = auto()
    CHANGES = auto()
    WORSENS = auto()
    CLOSES = auto()


@dataclass(frozen=True, slots=True)
class Faced:
    """The situation where it begins, changes or closes; `asides` say when and whence."""

    title: str
    asides: tuple[str, ...]
    turn: Turn


@dataclass(frozen=True, slots=True)
class Act:
    """One rung: `result` is the code by which it is drawn, `details` end with the result in words."""

    position: int
    technique: str
    result: str
    minute: str
    details: tuple[str, ...]
    injuries: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NotTried:
    """A declined option."""

    technique: str
    reason: str


@dataclass(frozen=True, slots=True)
class Harm:
    """An injury that belongs to no rung."""

    injury: str
    place: str


@dataclass(frozen=True, slots=True)
class Gap:
    """What the record does not hold, or that nothing was tried (`broken` is then False)."""

    text: str
    broken: bool = True


@dataclass(frozen=True, slots=True)
class Ended:
    """The ending and what it took; `over` is False where the fate is not known."""

    title: str
    asides: tuple[str, ...]
    over: bool


Step = Faced | Act | NotTried | Harm | Gap | Ended

_ACTS_MISSING = {
    "some": "Some acts are missing from this record.",
    "none": "What was tried is not known.",
    UNKNOWN: "Whether these are all the acts is not known.",
    OTHER: "These may not be all the acts.",
}


@dataclass(frozen=True, slots=True)
class _Telling:
    complication: Document
    document: Document
    names: Mapping[str, str]
    ladder: Ladder
    actions: Mapping[int, Document]
    injuries: Mapping[str, Document]

    def harms(self, owner: int | None) -> list[Document]:
        """Injuries of this complication that belong to a rung (R9), or to none."""
        ref = self.complication.get("ref")
        return [
            injury
            for injury in self.document.get("injuries") or []
            if injury.get("caused_by") is not None
            and injury.get("caused_by") == ref
            and self.ladder.owner(injury.get("after_position")) == owner
        ]


def told(complication: Document, document: Document, names: Mapping[str, str] = NO_NAMES) -> list[Step]:
    """The steps of one complication of a checked case document; `names` are those of device models by code.

    Raises ValueError where the positions of its actions are not 1 to n, each once.
    """
    ladder = ladder_of(complication)
    telling = _Telling(
        complication,
        document,
        names,
        ladder,
        {int(action["position"]): action for action in complication.get("actions") or []},
        {str(injury.get("ref")): injury for injury in document.get("injuries") or []},
    )
    return list(_steps(telling))


def _steps(telling: _Telling) -> Iterator[Step]:
    ladder, last = telling.ladder, len(telling.ladder.rungs)
    yield _opening(telling)
    yield from _between(telling, 0)
    closed = False
    for rung in ladder.rungs:
        yield _act(telling, rung)
        if rung.situation_after is not None and (rung.situation_after != CLOSED or rung.position < last):
            yield _change(rung, reopened=closed)
        closed = rung.situation_after == CLOSED if rung.situation_after is not None else closed
        yield from _between(telling, rung.position)
    yield from _between(telling, None)
    yield from _nobodys(telling)
    yield from _missing(telling)
    yield _ending(telling)


def _opening(telling: _Telling) -> Faced:
    complication, several = telling.complication, len(telling.document["complications"]) > 1
    ref = complication.get("ref")
    title = raised(named("situation", complication.get("situation"), "situation"))
    asides = [*_recognised(complication)]
    if (where := (complication.get("began") or {}).get("where")) not in (None, "here"):
        asides.append(_began(where))
    if (source := complication.get("caused_by")) is not None:
        after = complication.get("after_position")
        rung = {None: "", 0: " before its first rung"}.get(after, f" after rung {after}")
        asides.append(f"led on from {source}{rung}")
    return Faced(f"{ref}: {title}" if several and ref is not None else title, tuple(asides), Turn.BEGINS)


def _began(where: str) -> str:
    if where in (UNKNOWN, OTHER):
        return "where it began is not known"
    return f"began {lowered(word_list('began_where')[where].label)}"


def _recognised(complication: Document) -> list[str]:
    recognised = complication.get("recognised") or {}
    when, minute = recognised.get("when"), phrases.known_number(recognised.get("minute"))
    if minute is not None and when in (None, "procedure"):
        return [f"recognised at minute {phrases.plain(minute)}"]
    if when in (None, "procedure", OTHER):
        return []
    return [
        "when recognised is not known"
        if when == UNKNOWN
        else f"recognised {lowered(word_list('recognised_when')[when].label)}"
    ]


def _change(rung: Rung, *, reopened: bool) -> Faced:
    title = raised(named("situation", rung.situation_after, "situation"))
    if rung.situation_after == CLOSED:
        return Faced(title, (f"after rung {rung.position}",), Turn.CLOSES)
    turn = Turn.WORSENS if reopened or rung.result == Result.WORSE else Turn.CHANGES
    said = "opened again" if reopened else "situation changed"
    return Faced(title, (f"{said} after rung {rung.position}",), turn)


def _act(telling: _Telling, rung: Rung) -> Act:
    action = telling.actions[rung.position]
    return Act(
        position=rung.position,
        technique=raised(named("technique", rung.technique, "technique")),
        result=rung.result,
        minute=_minute(action),
        details=tuple(_details(telling, rung, action)),
        injuries=tuple(_harm(injury) for injury in telling.harms(rung.position)),
    )


def _harm(injury: Document) -> str:
    words = phrases.injury_in_words(injury)
    return f"{words}, not controlled" if injury.get("controlled") == "no" else words


def _minute(action: Document) -> str:
    day, minute = phrases.known_number(action.get("day")), phrases.known_number(action.get("at_minute"))
    if day:
        return f"day {phrases.plain(day)}"
    return phrases.clock(minute) if minute is not None else ""


def _details(telling: _Telling, rung: Rung, action: Document) -> Iterator[str]:
    yield phrases.aim_in_words(action, telling.injuries)
    if devices := action.get("devices"):
        yield joined([phrases.device_in_words(device, telling.names) for device in devices])
    if adjuncts := action.get("adjuncts"):
        yield f"with {joined([lowered(named('technique', code, 'adjunct')) for code in adjuncts])}"
    yield from _tries(telling.ladder.attempts, rung.position)
    if (minutes := phrases.known_number(action.get("minutes"))) is not None:
        yield f"for {phrases.plain(minutes)} min"
    yield phrases.result_in_words(action)
    yield from _led_on_to(telling, rung.position)


def _led_on_to(telling: _Telling, position: int) -> Iterator[str]:
    ref = telling.complication.get("ref")
    for other in telling.document["complications"]:
        if ref is None or other.get("caused_by") != ref:
            continue
        if telling.ladder.owner(other.get("after_position")) == position:
            situation = lowered(named("situation", other.get("situation"), "situation"))
            yield f"led on to {other.get('ref') or 'another complication'}: {situation}"


def _tries(attempts: tuple[Attempt, ...], position: int) -> Iterator[str]:
    for attempt in attempts:
        if attempt.tries > 1 and position in attempt.positions:
            yield f"try {attempt.positions.index(position) + 1} of {attempt.tries}"


def _between(telling: _Telling, after: int | None) -> Iterator[Step]:
    """Options declined after that rung (None: nobody knows when), and harm of no rung seen there."""
    for option in telling.ladder.declined:
        if option.after_position == after:
            yield _not_tried(telling, option)
    for injury in telling.harms(None):
        if injury.get("after_position") == after:
            place = (
                "when is not recorded"
                if after is None
                else "before any act"
                if after == 0
                else f"seen after rung {after}"
            )
            yield Harm(_harm(injury), place)


def _not_tried(telling: _Telling, option: Declined) -> NotTried:
    reason = lowered(named("decline_reason", option.reason, "reason"))
    treated = telling.injuries.get(str(option.treats))
    parts = [f"for {lowered(phrases.injury_in_words(treated))}"] if treated is not None else []
    parts.append(reason)
    if option.later_tried:
        parts.append("tried later")
    if option.after_position is None:
        parts.append("when is not recorded")
    return NotTried(lowered(named("technique", option.technique, "technique")), ", ".join(parts))


def _nobodys(telling: _Telling) -> Iterator[Harm]:
    """Injuries that name no complication stand once, in the picture of the first."""
    if telling.complication != telling.document["complications"][0]:
        return
    for injury in telling.document.get("injuries") or []:
        if injury.get("caused_by") is None:
            yield Harm(_harm(injury), "not linked to a complication")


def _missing(telling: _Telling) -> Iterator[Gap]:
    actions, known = telling.complication.get("actions"), telling.complication.get("actions_known")
    if known in _ACTS_MISSING:
        yield Gap(_ACTS_MISSING[known])
    elif actions is None:
        yield Gap("What was tried is not recorded.")
    elif not actions:
        yield Gap("Nothing was tried.", broken=False)


def _ending(telling: _Telling) -> Ended:
    complication, ladder = telling.complication, telling.ladder
    code, where = complication.get("ending"), (complication.get("ended") or {}).get("where")
    title = lowered(named("ending", code, "ending"))
    title = raised(title) if code in (None, UNKNOWN, OTHER) else f"Ended: {title}"
    if where not in (None, "here", UNKNOWN, OTHER):
        title = f"{title}, {lowered(word_list('ended_where')[where].label)}"
    asides = [_time(complication)] if complication.get("actions") else []
    if acts_are_known(complication):
        asides.append(counted(len(ladder.attempts), "attempt", "attempts"))
    elif ladder.attempts:
        asides.append(counted(len(ladder.attempts), "attempt recorded", "attempts recorded"))
    if complication.get("declined") is not None:
        asides.append(counted(len(ladder.declined), "option declined", "options declined"))
    return Ended(
        title, tuple(aside for aside in asides if aside), code not in (None, UNKNOWN, "transferred_open")
    )


def _time(complication: Document) -> str:
    """From recognition to the last act's end, where every act has its minute; in days where it went on later."""
    actions: list[Any] = complication["actions"]
    days = [day for action in actions if (day := phrases.known_number(action.get("day")))]
    if days:
        return f"to day {phrases.plain(max(days))}"
    begun = [phrases.known_number(action.get("at_minute")) for action in actions]
    lasted = [phrases.known_number(action.get("minutes")) or 0 for action in actions]
    ends = [start + length for start, length in zip(begun, lasted, strict=True) if start is not None]
    if len(ends) < len(actions) or max(ends) < 0:
        return ""
    return f"{phrases.plain(max(ends))} {'minute' if max(ends) == 1 else 'minutes'}"

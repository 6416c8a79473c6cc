"""The counting rules read a second time, from exported documents in plain Python; shares no code with the registry.

Each function gives what `answers` must print, without rates and limits: the rows by their keys, cells as text.
"""

from __future__ import annotations

import calendar
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

Json = dict[str, Any]
Rows = list[list[str]]
Period = tuple[str, str]
"""First and last day as YYYY-MM-DD, both included."""

COUNTED = ("free", "retrieve", "secure")
RESULTS = ("resolved", "partly", "unchanged", "worse", "not_delivered", "stopped_for_safety", "unknown")
CAUSE = {
    "out": "out_whole out_in_pieces used_on replaced",
    "secured": "part_out_rest_held held_behind_stent deployed_in_place crushed_in_place sealed_in_place ground_away",
    "left": "part_out_rest_left left_in_place lost_place_unknown accepted_as_is",
    "surgery": "out_at_surgery part_out_at_surgery",
    "died": "died_before_end",
    "open": "transferred_open",
}
CAUSE_OF = {ending: cause for cause, endings in CAUSE.items() for ending in endings.split()}
ALWAYS: Period = ("0000-00-00", "9999-99-99")


def days(date: str) -> Period:
    """The first and the last day that a date may mean."""
    if len(date) == 4:
        return f"{date}-01-01", f"{date}-12-31"
    if len(date) == 7:
        year, month = map(int, date.split("-"))
        return f"{date}-01", f"{date}-{calendar.monthrange(year, month)[1]:02}"
    return date, date


def within(case: Json, period: Period) -> bool:
    """Whether all days that the procedure may have been on lie in the period."""
    first, last = days(case["procedure"]["date"])
    return period[0] <= first and last <= period[1]


def perhaps(case: Json, period: Period) -> bool:
    """Whether some of those days lie in the period and some outside."""
    first, last = days(case["procedure"]["date"])
    return first <= period[1] and last >= period[0] and not within(case, period)


@dataclass
class Tried:
    """One attempt."""

    technique: str | None
    faced: str
    aim: str
    number: int
    result: str = "unknown"
    at: set[int] = field(default_factory=set)


def in_order(complication: Json) -> list[Json]:
    return sorted(complication.get("actions") or [], key=lambda action: int(action["position"]))


def faced_at(complication: Json) -> list[str]:
    """The situation before the first action, and after each."""
    found = [complication["situation"]]
    for action in in_order(complication):
        found.append(action.get("situation_after") or found[-1])
    return found


def attempts(complication: Json) -> list[Tried]:
    """R2 to R4 and R7."""
    found: list[Tried] = []
    faced = faced_at(complication)
    going: Tried | None = None
    for action, now, then in zip(in_order(complication), faced, faced[1:], strict=False):
        technique, aim = action.get("technique"), action.get("aim")
        if aim in COUNTED:
            same = going and (going.technique, going.aim) == (technique, aim)
            if not same or technique in (None, "unknown", "other"):
                earlier = sum(one.faced == now for one in found)
                going = Tried(technique, now, aim, earlier + 1)
                found.append(going)
            assert going is not None
            going.result = action.get("result") or "unknown"
            going.at.add(int(action["position"]))
        elif aim not in ("look", "prepare", "support"):
            going = None
        if then != now:
            going = None
    return found


def harmed(case: Json, complication: Json, listed: str) -> set[int]:
    """The positions to which injuries or other complications of the case belong (R9)."""
    looks = {int(one["position"]) for one in complication.get("actions") or [] if one.get("aim") == "look"}
    found = set()
    for one in case.get(listed) or []:
        if one.get("caused_by") is not None and one["caused_by"] == complication.get("ref"):
            position = int(one.get("after_position") or 0)
            while position in looks:
                position -= 1
            found.add(position)
    return found - {0}


def why_not(case: Json, complication: Json) -> str | None:
    """Why a complication is in no figure of techniques (R11)."""
    if case.get("status") not in (None, "full"):
        return "short_record"
    if complication.get("actions_known") not in (None, "all"):
        return "actions_not_all_known"
    return "actions_not_recorded" if complication.get("actions") is None else None


def cause(complication: Json) -> str | None:
    """R10."""
    found = CAUSE_OF.get(complication["ending"])
    where = (complication.get("ended") or {}).get("where")
    return "open" if found not in (None, "surgery") and where not in (None, "here") else found


def acts_elsewhere(complication: Json) -> bool:
    """Closed last by the look that it came out with another device, without an attempt of its own (R10)."""
    last = None
    faced = faced_at(complication)
    for action, now, then in zip(in_order(complication), faced, faced[1:], strict=False):
        last = (action.get("technique"), then) if then != now else last
    return last == ("came_out_with_other", "closed") and not attempts(complication)


def each(cases: Iterable[Json], period: Period) -> Iterator[tuple[Json, Json]]:
    for case in cases:
        if within(case, period):
            for complication in case["complications"]:
                yield case, complication


def _written(rows: Mapping[Any, Iterable[int]]) -> Rows:
    """The rows by their keys, which are tuples, an empty key first."""
    ordered = sorted(rows.items(), key=lambda item: [(key is not None, key) for key in item[0]])
    return [["" if cell is None else str(cell) for cell in (*key, *counts)] for key, counts in ordered]


def techniques(cases: list[Json], period: Period = ALWAYS, *, by_attempt: bool = False) -> Rows:
    """R2 to R9."""
    found: dict[tuple[Any, ...], list[tuple[Tried, bool, bool, int, str]]] = defaultdict(list)
    for number, (case, complication) in enumerate(each(cases, period)):
        if why_not(case, complication):
            continue
        injured, led_on = (harmed(case, complication, listed) for listed in ("injuries", "complications"))
        for one in attempts(complication):
            key = (one.technique, one.faced, one.aim, *([one.number] if by_attempt else []))
            which = f"{case['site']} {case['id']}"
            found[key].append((one, bool(one.at & injured), bool(one.at & led_on), number, which))
    rows = {}
    for key, listed in found.items():
        known = [row for row in listed if row[0].result != "unknown"]
        won = [row for row in known if row[0].result == "resolved"]
        counts = [len(known), *(sum(row[0].result == result for row in listed) for result in RESULTS)]
        counts += [sum(row[1] for row in won), sum(row[2] for row in won)]
        counts += [
            len({row[3] for row in known}),
            len({row[3] for row in won}),
            len({row[4] for row in known}),
        ]
        rows[key] = counts
    return _written(rows)


def endings(cases: list[Json], period: Period = ALWAYS) -> Rows:
    """R10."""
    found: dict[tuple[str], Counter[str]] = defaultdict(Counter)
    for case, complication in each(cases, period):
        row = found[complication["situation"],]
        how = cause(complication)
        unknown = why_not(case, complication) is not None
        row["complications"] += not unknown
        row["left_out"] += unknown or how is None
        if unknown or how is None:
            continue
        row[how] += 1
        row["place_unknown"] += how == "left" and complication["ending"] == "lost_place_unknown"
        if how != "open" and attempts(complication):
            row["attempted"] += 1
            row["out_after"] += how == "out"
    columns = (
        *("complications", "out", "secured", "left", "place_unknown", "surgery", "died", "open", "left_out"),
        *("attempted", "out_after"),
    )
    return _written({key: [row[column] for column in columns] for key, row in found.items()})


def _kinds(case: Json) -> dict[str | None, str | None]:
    return {one["ref"]: one.get("kind") for one in case.get("injuries") or [] if "ref" in one}


def rung_keys(case: Json, complication: Json) -> list[str | None]:
    """What each action was for: the situation faced, or the kind of the injury that it treats (R11)."""
    return [
        _kinds(case).get(action.get("treats")) if action.get("aim") == "treat_injury" else now
        for action, now in zip(in_order(complication), faced_at(complication), strict=False)
    ]


def declined_keys(case: Json, complication: Json) -> Iterator[tuple[Json, str | None, bool | None]]:
    """Each declined option with what it was for and whether a later action has its technique (R11)."""
    actions, faced = in_order(complication), faced_at(complication)
    for option in complication.get("declined") or []:
        after, technique = option.get("after_position"), option.get("technique")
        key: str | None = "unknown" if after is None else faced[int(after)]
        if option.get("treats") is not None:
            key = _kinds(case).get(option["treats"])
        again = None
        if after is not None:
            later = [action.get("technique") for action in actions[int(after) :]]
            again = technique in later and technique not in (None, "unknown", "other")
        yield option, key, again


def considered(cases: list[Json], period: Period = ALWAYS) -> Rows:
    """R11."""
    tried: dict[tuple[Any, Any], set[int]] = defaultdict(set)
    declined: dict[tuple[Any, Any], set[int]] = defaultdict(set)
    later: dict[tuple[Any, Any], set[int]] = defaultdict(set)
    for number, (case, complication) in enumerate(each(cases, period)):
        if why_not(case, complication):
            continue
        for action, key in zip(in_order(complication), rung_keys(case, complication), strict=True):
            tried[action.get("technique"), key].add(number)
        for option, key, again in declined_keys(case, complication):
            declined[option.get("technique"), key].add(number)
            if again:
                later[option.get("technique"), key].add(number)
    return _written(
        {
            key: [len(tried[key] | declined[key]), len(tried[key]), len(declined[key]), len(later[key])]
            for key in {*tried, *declined}
        }
    )


Uses = dict[tuple[str, str, str], int]
"""Site, model and month YYYY-MM to the units opened."""


def devices(cases: list[Json], uses: Uses, classes: dict[str, str], period: Period = ALWAYS) -> Rows:
    """R12."""
    found: dict[tuple[str | None, str], Counter[str]] = defaultdict(Counter)
    by_month: Counter[tuple[str, str, str]] = Counter()
    for case, complication in each(cases, period):
        began = (complication.get("began") or {}).get("where")
        if began not in (None, "here") or case["procedure"].get("kind") == "none_found_later":
            continue
        device, date = complication["device"], case["procedure"]["date"]
        model = None if device.get("model") == "unknown" else device.get("model")
        row = found[model, classes[model] if model else device["class"]]
        if complication.get("caused_by") is not None:
            row["secondary"] += 1
        elif model is None or len(date) == 4 or (case["site"], model, date[:7]) not in uses:
            row["left_out"] += 1
        else:
            by_month[case["site"], model, date[:7]] += 1
    for (site, model, month), number in uses.items():
        if not period[0][:7] <= month <= period[1][:7]:
            continue
        row, events = found[model, classes[model]], by_month[site, model, month]
        if number < events:
            row["left_out"] += events
        else:
            row["events"] += events
            row["uses"] += number
    columns = ("events", "secondary", "uses", "left_out")
    return _written({key: [row[column] for column in columns] for key, row in found.items()})


def curve(cases: list[Json], period: Period = ALWAYS) -> Counter[tuple[int, str | None]]:
    """R10: attempts made and cause of each complication in the curve, `open` where it is censored."""
    return Counter(
        (len(attempts(complication)), cause(complication))
        for case, complication in each(cases, period)
        if not why_not_in_curve(case, complication)
    )


def why_not_ended(case: Json, complication: Json) -> str | None:
    """Why a complication is in no figure of endings (R10)."""
    return why_not(case, complication) or ("ending_without_cause" if cause(complication) is None else None)


def why_not_in_curve(case: Json, complication: Json) -> str | None:
    """Why a complication has no place in the curve (R10)."""
    elsewhere = "act_with_another" if acts_elsewhere(complication) else None
    return why_not_ended(case, complication) or elsewhere


def left_out(
    cases: list[Json], why: Callable[[Json, Json], str | None], period: Period = ALWAYS
) -> Counter[str]:
    """How many complications are left out for which reason; for a date that may lie outside before all else."""
    found: Counter[str] = Counter()
    for case in cases:
        for complication in case["complications"]:
            if perhaps(case, period):
                found["date_partly_known"] += 1
            elif within(case, period) and (reason := why(case, complication)):
                found[reason] += 1
    return found

"""What had become of complications by the n-th attempt, as a picture with its table. No query."""

from __future__ import annotations

from analytics.answers import Curve
from analytics.charts.figure import Cell, Figure
from analytics.charts.stacked import SIZE, Band, stacked
from analytics.estimates import FEWEST_FOR_A_PERCENTAGE
from analytics.figures.words import percent_in_words
from registry.drawings.phrases import counted, joined
from registry.terms import Cause

ENDINGS_BY_ATTEMPT = "endings-by-attempt"

ENDING_WORDS = {
    Cause.OUT: "out or freed",
    Cause.SECURED: "secured",
    Cause.LEFT: "left",
    Cause.SURGERY: "surgery",
    Cause.DIED: "died with it still in",
}
_APART = {"lost_place_unknown": "at an unknown place", "accepted_as_is": "accepted as it is"}
_OPEN = "still open"
_NOTHING = 1e-9
"""Below this a share is 0 but for rounding."""


def endings_by_attempt(curve: Curve, situation: str) -> Figure | None:
    """The endings stacked by attempt, None where no complication has a place in the curve.

    `situation` is that with which they began, in words. Below 10 complications the counts stand without percentages.
    """
    steps = [int(one) for one in curve.incidence.attempts]
    if not steps:
        return None
    at_risk = [int(one) for one in curve.incidence.at_risk]
    shares = {cause: _share_of(curve, cause) for cause in ENDING_WORDS}
    still = tuple(map(_rest, zip(*shares.values(), strict=True)))
    few = at_risk[0] < FEWEST_FOR_A_PERCENTAGE
    bands = [
        Band(f"c-{cause}", _label(name, shares[cause][-1], sum(curve.ended[cause]), few=few), shares[cause])
        for cause, name in ENDING_WORDS.items()
        if shares[cause][-1] > 0
    ]
    bands.append(Band("c-open", _label_of_open(still[-1], sum(curve.ended[Cause.CENSORED]), few=few), still))
    return Figure(
        name=ENDINGS_BY_ATTEMPT,
        title=f"{situation}: what had become of it by each attempt",
        description=_description(curve, at_risk[0], steps[-1]),
        size=SIZE,
        content=stacked(
            steps,
            bands,
            at_risk,
            axis="Attempts made by then; each step holds until the next",
            under="Complications whose end was still open, so at risk, just before",
            marks=[(0.0, "none"), (0.5, "half"), (1.0, "all")]
            if few
            else [(each / 4, f"{25 * each} %") for each in range(5)],
        ),
        columns=_columns(),
        rows=tuple(_row(curve, at_risk, still, which) for which in range(len(steps))),
        method="cumulative_incidence",
    )


def _rest(shares: tuple[float, ...]) -> float:
    """What is left of the whole, exactly 0 where nothing is."""
    rest = 1.0 - sum(shares)
    return rest if rest > _NOTHING else 0.0


def _share_of(curve: Curve, cause: Cause) -> tuple[float, ...]:
    found = curve.incidence.incidence.get(cause)
    return tuple(map(float, found)) if found is not None else (0.0,) * len(curve.incidence.attempts)


def _label(name: str, share: float, number: int, *, few: bool) -> str:
    """What stands beside a band: its count, and its share where there are enough."""
    return f"{name}: {number}" if few else f"{name} {percent_in_words(share)} ({number:,})"


def _label_of_open(share: float, number: int, *, few: bool) -> str:
    """The same of what is open still: `number` were not seen to their end."""
    if not share:
        return f"none {_OPEN}"
    return f"not seen to its end: {number}" if few else f"{_OPEN} {percent_in_words(share)}"


def _description(curve: Curve, complications: int, last: int) -> str:
    ended = [
        f"{number:,} {name}" + (_left_apart(curve) if cause == Cause.LEFT else "")
        for cause, name in ENDING_WORDS.items()
        if (number := sum(curve.ended[cause]))
    ]
    open_still = sum(curve.ended[Cause.CENSORED])
    if open_still:
        ended.append(f"{open_still:,} not seen to the end")
    there = counted(complications, "complication", "complications")
    return f"Of {there} by {counted(last, 'attempt', 'attempts')}: {joined(ended)}."


def _left_apart(curve: Curve) -> str:
    said = [f"{number:,} {_APART[ending]}" for ending, at in curve.left_apart.items() if (number := sum(at))]
    return f" (of these {joined(said)})" if said else ""


def _columns() -> tuple[str, ...]:
    found = ["attempts made", "at risk"]
    for name in ENDING_WORDS.values():
        found += [f"{name}: number", f"{name}: share by then", f"{name}: variance"]
    found += [f"left, {name}: number" for name in _APART.values()]
    return (*found, "not seen to the end: number", "still open: share by then")


def _row(curve: Curve, at_risk: list[int], still: tuple[float, ...], which: int) -> tuple[Cell, ...]:
    cells: list[Cell] = [int(curve.incidence.attempts[which]), at_risk[which]]
    for cause in ENDING_WORDS:
        variance = curve.incidence.variance.get(cause)
        cells += [
            curve.ended[cause][which],
            _share_of(curve, cause)[which],
            0.0 if variance is None else float(variance[which]),
        ]
    cells += [curve.left_apart[ending][which] for ending in _APART]
    return (*cells, curve.ended[Cause.CENSORED][which], still[which])

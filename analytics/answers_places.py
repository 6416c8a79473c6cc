"""Answers about where complications happened and what lay there. No Django, no query."""

from __future__ import annotations

from dataclasses import dataclass

from analytics.answers import LeftOut


@dataclass(frozen=True, slots=True)
class Place:
    """A segment of the coronary tree or a place beyond it, with the complications that lay there."""

    code: str
    complications: int


@dataclass(frozen=True, slots=True)
class Places:
    """Complications by where they lay: one may lie in several places, so the counts may add up to more than all.

    `segments` and `beyond` are in the order of their word lists; `no_place` had neither a place of their own nor a
    lesion with one.
    """

    segments: tuple[Place, ...]
    beyond: tuple[Place, ...]
    no_place: int
    complications: int
    cases: int
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True)
class ContextRow:
    """Complications that began with one situation, by what is known of their lesion; as long as the columns."""

    situation: str
    counts: tuple[int, ...]
    complications: int


@dataclass(frozen=True, slots=True)
class Context:
    """What lay in the lesion, or how calcified it was, by situation.

    `columns` are codes, then `nothing` where the lesion was recorded as empty, `not_recorded` where nothing is said of
    it, and `no_lesion`; those that no complication has are left out. Where a lesion may hold several things a row adds
    up to more than its complications.
    """

    columns: tuple[str, ...]
    rows: tuple[ContextRow, ...]
    totals: tuple[int, ...]
    complications: int
    no_lesion: int


@dataclass(frozen=True, slots=True)
class LesionContexts:
    """The two tables of one moment."""

    contents: Context
    calcification: Context

"""The coronary tree as a transit map, to choose segments on and to show what happened where.

The list of segments by name beside it is the control that works without a script; here each segment has a broad
invisible stroke that carries `data-segment`, so that a script can press the entry of the same segment in that list.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType

from registry.drawings.coronary_plan import AORTA, COURSES, HEIGHT, WIDTH, Course
from registry.drawings.lettering import SMALL, Line, Run, letters, wrapped, wrapped_text
from registry.drawings.phrases import lowered
from registry.drawings.svg import element, picture, words
from registry.vocabulary import word_list

HALO = 24
"""Width of the stroke to touch, in units of the plan: at least 22 px on a phone."""

STEP = 18.0
_NONE: Mapping[str, str] = MappingProxyType({})
BESIDE_ROOM = 136
"""How wide words beside a segment may run; two lines of them at most."""


def segments_for(dominance: str | None) -> tuple[str, ...]:
    """The segments that exist with that dominance, in drawing order; all where it is balanced or not known."""
    segments = word_list("segment")
    return tuple(
        code
        for code in COURSES
        if dominance not in ("left", "right")
        or segments[code].properties.get("dominance", dominance) == dominance
    )


def coronary_map(
    *,
    dominance: str | None = None,
    chosen: Collection[str] = (),
    marked: Mapping[str, str] = _NONE,
    selectable: bool = False,
    name: str = "map",
) -> str:
    """The map as SVG text.

    `chosen` segments are drawn in the accent, `marked` ones have words about what happened there, beside them or, for
    want of room, below. What is recorded is drawn even where the dominance would not have it. `selectable` adds the
    strokes to touch. `name` begins the ids and must be the picture's own within the page. Codes that are no numbered
    segment (`unknown`, `other`) are passed over.
    """
    shown = set(segments_for(dominance)) | {code for code in (*chosen, *marked) if code in COURSES}
    drawn = [code for code in COURSES if code in shown]
    below = [code for code in drawn if code in marked and not _fits_beside(COURSES[code], marked[code])]
    lines = [line for code in below for line in _below(code, marked[code])]
    parts = [_segment(code, code in chosen, marked.get(code)) for code in drawn]
    foot = [
        letters(line, (12, HEIGHT + 22 + place * STEP), SMALL, "cm-words") for place, line in enumerate(lines)
    ]
    beside = [_beside(COURSES[code], marked[code]) for code in drawn if code in marked and code not in below]
    hits = [_hit(code) for code in drawn] if selectable else []
    return picture(
        name,
        "Map of the coronary arteries",
        _description(drawn, chosen, marked),
        (WIDTH, HEIGHT + round(len(lines) * STEP + 12 if lines else 0)),
        *([_halo(code, code in chosen) for code in drawn] if selectable else []),
        _aorta(),
        *parts,
        *beside,
        *([element("g", *foot, class_="cm-marked")] if foot else []),
        *hits,
        class_="coronary-map",
    )


def _description(drawn: Collection[str], chosen: Collection[str], marked: Mapping[str, str]) -> str:
    segments = word_list("segment")
    told = [f"{segments[code].label}: {marked[code]}." for code in drawn if code in marked]
    picked = [lowered(segments[code].label) for code in drawn if code in chosen]
    told.append(f"Chosen: {', '.join(picked)}." if picked else "No segment is chosen.")
    return " ".join(told)


def _aorta() -> str:
    x, y, radius = AORTA
    circle = element("circle", class_="cm-aorta", cx=x, cy=y, r=radius, stroke_width=4)
    return circle + element(
        "text", "aorta", class_="cm-place", x=x, y=y + 4, font_size=SMALL, text_anchor="middle"
    )


def _stroke(code: str, class_: str, thickness: int, *content: str, **attributes: object) -> str:
    return element(
        "path",
        *content,
        d=COURSES[code].path,
        class_=class_,
        fill="none",
        stroke_width=thickness,
        stroke_linejoin="round",
        **attributes,
    )


def _segment(code: str, chosen: bool, said: str | None) -> str:
    course = COURSES[code]
    classes = ["cm-segment", *(["cm-chosen"] if chosen else []), *(["cm-marked"] if said is not None else [])]
    x, y = course.number_at
    number = element(
        "text",
        words(code),
        class_="cm-number",
        x=x,
        y=y,
        font_size=SMALL,
        font_weight=600 if chosen or said is not None else None,
        text_anchor=course.anchor,
    )
    vessel = _stroke(code, "cm-vessel", course.stroke + (3 if chosen else 0))
    return element("g", vessel, number, class_=" ".join(classes))


def _halo(code: str, chosen: bool) -> str:
    halo = _stroke(code, "cm-halo", HALO, stroke_linecap="round")
    return element("g", halo, class_="cm-chosen" if chosen else None)


def _hit(code: str) -> str:
    label = element("title", words(word_list("segment")[code].label))
    return _stroke(
        code, "cm-hit", HALO, label, stroke_linecap="round", stroke="transparent", data_segment=code
    )


def _beside_lines(said: str) -> list[Line]:
    return wrapped_text(said, SMALL, BESIDE_ROOM, bold=True)


def _fits_beside(course: Course, said: str) -> bool:
    return course.words_at is not None and len(_beside_lines(said)) <= 2


def _beside(course: Course, said: str) -> str:
    assert course.words_at is not None
    x, y, anchor = course.words_at
    lines = [
        letters(line, (x, y + place * STEP), SMALL, "cm-words", anchor)
        for place, line in enumerate(_beside_lines(said))
    ]
    return element("g", *lines, class_="cm-marked")


def _below(code: str, said: str) -> list[Line]:
    return wrapped([Run(f"{code} ", True), Run(said)], SMALL, WIDTH - 24)

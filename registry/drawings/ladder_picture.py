"""The ladder as a picture: rails, rungs in the order tried, situations as bands, options not tried on dashed stubs.

Returns SVG text for a page, a slide or a print; notes never enter. `ladder_story` tells, this places.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from registry.drawings.ladder_story import (
    NO_NAMES,
    Act,
    Ended,
    Faced,
    Gap,
    Harm,
    NotTried,
    Step,
    Turn,
    told,
)
from registry.drawings.ladder_words import sentence
from registry.drawings.lettering import (
    SMALL,
    Line,
    Run,
    letters,
    line_width,
    width,
    wrapped,
    wrapped_parts,
    wrapped_text,
)
from registry.drawings.marks import drawn_mark
from registry.drawings.phrases import Document
from registry.drawings.svg import element, number, picture, words

WIDE = 720
NARROW = 300
LEAST = 300
"""The least width, in px, at which a rung can still be read."""

_TITLE = 16.0
_TITLE_STEP = 21.0
_SMALL_STEP = 18.5
_BAND_PAD = 10.0
_GAP = 5.0


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where things stand from left to right, in px."""

    width: float
    minutes_end: float
    left_rail: float
    right_rail: float
    mark: float
    text: float
    right: float

    @property
    def middle(self) -> float:
        return (self.left_rail + self.right_rail) / 2

    @property
    def room(self) -> float:
        return self.right - self.text

    @property
    def heading(self) -> float:
        """Where the words of a band without a mark begin."""
        return self.mark - 10


def _columns(width: int) -> _Columns:
    if width >= 520:
        return _Columns(width, 78, 92, 142, 178, 200, width - 14)
    return _Columns(width, 53, 62, 96, 118, 136, width - 6)


@dataclass(slots=True)
class _Drawing:
    """What is drawn so far: bands at the back, rails over them, everything else in front."""

    columns: _Columns
    y: float = 0.0
    back: list[str] = field(default_factory=list)
    stretches: list[tuple[float, float, bool]] = field(default_factory=list)
    rails: list[str] = field(default_factory=list)
    front: list[str] = field(default_factory=list)

    def rail(self, start: float, end: float, *, broken: bool = False) -> None:
        """Both rails from one height to another; stretches that meet are drawn as one."""
        if self.stretches and self.stretches[-1][1:] == (start, broken):
            start = self.stretches.pop()[0]
        self.stretches.append((start, end, broken))

    def draw_rails(self) -> None:
        """Put the stretches gathered so far into the picture."""
        for start, end, broken in self.stretches:
            for x in (self.columns.left_rail, self.columns.right_rail):
                self.rails.append(_rail(f"M{number(x)} {number(start)}V{number(end)}", broken=broken))
        self.stretches.clear()

    def lines(self, lines: list[Line], x: float, first: float, size: float, class_: str) -> None:
        """Lines of text one below the other, the base line of the first given."""
        step = _TITLE_STEP if size == _TITLE else _SMALL_STEP
        for place, line in enumerate(lines):
            self.front.append(letters(line, (x, first + place * step), size, class_))


def _rail(path: str, *, broken: bool = False) -> str:
    return element(
        "path",
        d=path,
        class_="lp-rail lp-rail-broken" if broken else "lp-rail",
        fill="none",
        stroke_width=3,
        stroke_linecap="round" if broken else None,
        stroke_dasharray="0.1 7" if broken else None,
    )


def ladder_picture(
    complication: Document,
    document: Document,
    *,
    width: int = WIDE,
    names: Mapping[str, str] = NO_NAMES,
    name: str = "ladder",
) -> str:
    """The ladder of one complication of a checked case document as SVG text.

    `width` in px, 300 at least (`WIDE` for a page, `NARROW` for a phone); `names` are those of device models by code;
    `name` begins the ids of its title and description and must be the picture's own within the page.
    Raises ValueError for a smaller width, or where positions are not 1 to n, each once.
    """
    if width < LEAST:
        raise ValueError(f"width: {width} px is too narrow for a ladder; {LEAST} px at least")
    steps = told(complication, document, names)
    drawing = _Drawing(_columns(width))
    for step in steps:
        _draw(step, drawing)
    drawing.draw_rails()
    return picture(
        name,
        f"Ladder. {steps[0].title}" if isinstance(steps[0], Faced) else "Ladder",
        " ".join(["Minutes count from recognition.", *(sentence(step) for step in steps)]),
        (width, round(drawing.y)),
        *drawing.back,
        *drawing.rails,
        *drawing.front,
        class_="ladder-picture",
    )


def _draw(step: Step, drawing: _Drawing) -> None:
    match step:
        case Faced():
            _faced(step, drawing)
        case Act():
            _act(step, drawing)
        case NotTried():
            _not_tried(step, drawing)
        case Harm():
            _harm(step, drawing)
        case Gap():
            _gap(step, drawing)
        case Ended():
            _ended(step, drawing)


def _band(
    drawing: _Drawing, title: str, asides: tuple[str, ...], class_: str, x: float
) -> tuple[float, float]:
    """A band across with its words, at the right end what says when; returns its top and foot."""
    columns = drawing.columns
    room, top = columns.right - x, drawing.y
    aside = " · ".join(asides)
    titles = wrapped_text(title, _TITLE, room, bold=True)
    beside = len(titles) == 1 and line_width(titles[0], _TITLE) + 20 + width(aside, SMALL) <= room
    below = [] if beside or not aside else wrapped_parts(asides, SMALL, room)
    height = 2 * _BAND_PAD + len(titles) * _TITLE_STEP + len(below) * _SMALL_STEP
    drawing.back.append(
        element("rect", class_=class_, x=0, y=number(top), width=columns.width, height=number(height), rx=6)
    )
    base = top + _BAND_PAD + 15.5
    drawing.lines(titles, x, base, _TITLE, "lp-text")
    drawing.lines(below, x, base + len(titles) * _TITLE_STEP - 1, SMALL, "lp-soft")
    if beside and aside:
        drawing.front.append(letters((Run(aside),), (columns.right, base), SMALL, "lp-soft", "end"))
    drawing.y = top + height
    return top, drawing.y


def _faced(step: Faced, drawing: _Drawing) -> None:
    columns, begins = drawing.columns, step.turn is Turn.BEGINS
    worse = step.turn is Turn.WORSENS
    marked = worse or step.turn is Turn.CHANGES
    before = drawing.y
    drawing.y += 0 if begins else _GAP
    x = columns.text if marked else columns.heading
    top, foot = _band(drawing, step.title, step.asides, "lp-band lp-band-worse" if worse else "lp-band", x)
    if marked:
        drawing.front.append(_arrow(columns.mark, top + _BAND_PAD + 10.5, worse=worse))
    drawing.y = foot + _GAP
    drawing.rail(before, drawing.y)


def _arrow(x: float, y: float, *, worse: bool) -> str:
    return element(
        "path",
        d=f"M{number(x)} {number(y - 8)}v15m-5.5 -5.5l5.5 5.5l5.5 -5.5",
        class_="lp-arrow lp-arrow-worse" if worse else "lp-arrow",
        fill="none",
        stroke_width=2,
        stroke_linecap="round",
        stroke_linejoin="round",
    )


def _act(step: Act, drawing: _Drawing) -> None:
    columns, top = drawing.columns, drawing.y
    level = top + 19
    drawing.front.append(_rung(step, columns, level))
    if step.minute:
        at = (columns.minutes_end, level + 5)
        drawing.front.append(letters((Run(step.minute),), at, SMALL, "lp-soft lp-minute", "end"))
    titles = wrapped_text(step.technique, _TITLE, columns.room, bold=True)
    drawing.lines(titles, columns.text, level + 5.5, _TITLE, "lp-text")
    y = level + 5.5 + len(titles) * _TITLE_STEP
    details = wrapped_parts(step.details, SMALL, columns.room)
    drawing.lines(details, columns.text, y - 1, SMALL, "lp-soft")
    y += len(details) * _SMALL_STEP
    taken = line_width(titles[0], _TITLE) + 24
    for injury in step.injuries:
        if len(step.injuries) == 1 and taken + 22 + width(injury, SMALL, bold=True) <= columns.room:
            x = columns.right - 22 - width(injury, SMALL, bold=True)
            drawing.front.append(_injury([(Run(injury, True),)], x, level + 5.5))
        else:
            lines = wrapped_text(injury, SMALL, columns.room - 22, bold=True)
            drawing.front.append(_injury(lines, columns.text, y + 1))
            y += len(lines) * _SMALL_STEP + 1
    drawing.y = y - 4
    drawing.rail(top, drawing.y)


def _rung(step: Act, columns: _Columns, level: float) -> str:
    bar = element(
        "path",
        d=f"M{number(columns.left_rail - 3)} {number(level)}H{number(columns.right_rail + 3)}",
        class_="lp-bar",
        stroke_width=6,
        stroke_linecap="round",
    )
    radius = 12 if step.position < 100 else 15
    disc = element(
        "circle",
        class_="lp-disc",
        cx=number(columns.middle),
        cy=number(level),
        r=radius,
        stroke_width=2,
    )
    label = element(
        "text",
        words(step.position),
        class_="lp-text",
        x=number(columns.middle),
        y=number(level + 4.8),
        font_size=SMALL,
        font_weight=600,
        text_anchor="middle",
    )
    mark = drawn_mark(step.result, (columns.mark, level), 19)
    return element("g", bar, disc, label, mark, class_=f"lp-rung lp-rung-{step.result}")


def _injury(lines: list[Line], x: float, base: float) -> str:
    drawn = [
        letters(line, (x + 22, base + place * _SMALL_STEP), SMALL, "lp-harm-text")
        for place, line in enumerate(lines)
    ]
    return element("g", drawn_mark("injury", (x + 8, base - 5), 17), *drawn, class_="lp-harm")


def _not_tried(step: NotTried, drawing: _Drawing) -> None:
    columns, top = drawing.columns, drawing.y
    level = top + 14
    stub = element(
        "path",
        d=f"M{number(columns.right_rail)} {number(level)}H{number(columns.mark - 9)}",
        class_="lp-stub",
        fill="none",
        stroke_width=1.7,
        stroke_dasharray="3.5 2.5",
    )
    ring = drawn_mark("declined", (columns.mark, level), 19)
    drawing.front.append(element("g", stub, ring, class_="lp-declined"))
    runs = [Run("Not tried: "), Run(step.technique, True), Run(f", {step.reason}")]
    lines = wrapped(runs, SMALL, columns.room)
    drawing.lines(lines, columns.text, level + 4.8, SMALL, "lp-soft")
    drawing.y = level + len(lines) * _SMALL_STEP
    drawing.rail(top, drawing.y)


def _harm(step: Harm, drawing: _Drawing) -> None:
    columns, top = drawing.columns, drawing.y
    lines = wrapped([Run("Injury: "), Run(step.injury, True), Run(f", {step.place}")], SMALL, columns.room)
    drawn = [
        letters(line, (columns.text, top + 18.8 + place * _SMALL_STEP), SMALL, "lp-harm-text")
        for place, line in enumerate(lines)
    ]
    mark = drawn_mark("injury", (columns.mark, top + 14), 17)
    drawing.front.append(element("g", mark, *drawn, class_="lp-harm"))
    drawing.y = top + 14 + len(lines) * _SMALL_STEP
    drawing.rail(top, drawing.y)


def _gap(step: Gap, drawing: _Drawing) -> None:
    columns, top = drawing.columns, drawing.y
    lines = wrapped_text(step.text, SMALL, columns.right - columns.heading)
    drawing.lines(lines, columns.heading, top + 30, SMALL, "lp-soft")
    drawing.y = top + 30 + len(lines) * _SMALL_STEP
    drawing.rail(top, drawing.y, broken=step.broken)


def _ended(step: Ended, drawing: _Drawing) -> None:
    columns, before = drawing.columns, drawing.y
    drawing.y += _GAP
    _, foot = _band(drawing, step.title, step.asides, "lp-band lp-band-ending", columns.heading)
    if not step.over:
        drawing.rail(before + 4, foot - 6, broken=True)
        return
    begin = drawing.stretches.pop()[0] if drawing.stretches and not drawing.stretches[-1][2] else before
    left, inner = number(columns.left_rail), number(columns.right_rail - 8)
    path = f"M{left} {number(begin)}V{number(foot - 20)}q0 8 8 8H{inner}q8 0 8 -8V{number(begin)}"
    drawing.rails.append(_rail(path))

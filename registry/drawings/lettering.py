"""How wide words run, and where their lines break; an estimate by table, since no browser is at hand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from registry.drawings.svg import element, number, words

SMALL = 13.5
"""The smallest letters of the product, in px."""

# Advances of Atkinson Hyperlegible Next, in hundredths of the letter size, from the space (32) to the tilde (126);
# at the weights 400 and 600; measured in a browser from the font file of fontsource.
_REGULAR = (
    28, 29, 30, 65, 59, 92, 73, 16, 30, 30, 48, 61, 21, 36, 21, 39,
    65, 41, 55, 58, 61, 59, 60, 51, 61, 59, 21, 21, 55, 63, 55, 48,
    78, 63, 61, 64, 67, 57, 55, 69, 69, 39, 51, 63, 54, 82, 69, 71,
    59, 72, 61, 59, 56, 69, 59, 86, 62, 57, 61, 32, 39, 34, 55, 37,
    24, 52, 57, 48, 56, 54, 31, 56, 55, 25, 24, 49, 26, 84, 55, 55,
    57, 57, 35, 47, 33, 54, 46, 68, 48, 45, 46, 34, 24, 34, 55,
)  # fmt: skip
_BOLD = (
    30, 30, 36, 73, 60, 95, 73, 19, 32, 32, 48, 60, 25, 37, 25, 42,
    66, 43, 57, 59, 62, 60, 62, 53, 62, 58, 25, 25, 56, 62, 56, 53,
    78, 66, 63, 65, 68, 59, 56, 71, 70, 41, 55, 65, 55, 85, 71, 74,
    62, 75, 64, 60, 59, 69, 63, 88, 67, 63, 61, 33, 42, 34, 57, 39,
    27, 54, 59, 50, 59, 55, 35, 58, 56, 28, 25, 54, 30, 87, 56, 57,
    59, 59, 37, 50, 36, 56, 51, 72, 52, 50, 49, 37, 25, 37, 54,
)  # fmt: skip
_SIGNS = {"\N{NO-BREAK SPACE}": 31, "·": 29, "×": 61, "–": 54, "−": 67, "’": 27}
_OTHER_LATIN = 70
_WIDE = 105
_TABULAR = 66


@dataclass(frozen=True, slots=True)
class Run:
    """Words of one weight."""

    text: str
    bold: bool = False


Line = tuple[Run, ...]


def _advance(letter: str, table: Sequence[int]) -> int:
    place = ord(letter) - 32
    if letter.isdecimal():
        return _TABULAR
    if letter in _SIGNS:
        return _SIGNS[letter]
    if 0 <= place < len(table):
        return table[place]
    return _OTHER_LATIN if ord(letter) < 0x2E80 else _WIDE


def width(text: str, size: float, *, bold: bool = False) -> float:
    """About how wide the text runs, in px; digits are tabular, what the table lacks is taken to be wide."""
    table = _BOLD if bold else _REGULAR
    return sum(_advance(letter, table) for letter in text) * size / 100


def line_width(line: Iterable[Run], size: float) -> float:
    """About how wide a line of runs is, in px."""
    return sum(width(run.text, size, bold=run.bold) for run in line)


def _pieces(runs: Iterable[Run], size: float, room: float) -> list[Run]:
    """Words with the space after them, those wider than the room cut."""
    pieces = []
    for run in runs:
        for word in run.text.split(" "):
            start = 0
            for end in range(1, len(word) + 1):
                if end - start > 1 and width(word[start:end], size, bold=run.bold) > room:
                    pieces.append(Run(word[start : end - 1], run.bold))
                    start = end - 1
            pieces.append(Run(word[start:] + " ", run.bold))
        if pieces and not run.text.endswith(" "):
            pieces[-1] = Run(pieces[-1].text.removesuffix(" "), run.bold)
        elif pieces:
            pieces.pop()
    return pieces


def _joined(pieces: Sequence[Run]) -> Line:
    runs: list[Run] = []
    for piece in pieces:
        if runs and runs[-1].bold == piece.bold:
            runs[-1] = Run(runs[-1].text + piece.text, piece.bold)
        else:
            runs.append(piece)
    if runs:
        runs[-1] = Run(runs[-1].text.rstrip(" "), runs[-1].bold)
    return tuple(runs)


def _units(pieces: Iterable[Run], size: float, room: float) -> list[list[Run]]:
    """Pieces that must stay together, such as a bold word and the comma after it."""
    units: list[list[Run]] = []
    for piece in pieces:
        last = units[-1][-1] if units else None
        glued = last is not None and not last.text.endswith(" ") and last.bold != piece.bold
        if glued and _bare_width([*units[-1], piece], size) <= room:
            units[-1].append(piece)
        else:
            units.append([piece])
    return units


def _bare_width(line: Sequence[Run], size: float) -> float:
    return line_width([*line[:-1], Run(line[-1].text.rstrip(" "), line[-1].bold)], size)


def wrapped(runs: Iterable[Run], size: float, room: float) -> list[Line]:
    """The runs broken into lines of at most `room` px; a word wider than that is cut."""
    lines: list[Line] = []
    line: list[Run] = []
    for unit in _units(_pieces(runs, size, room), size, room):
        if line and _bare_width([*line, *unit], size) > room:
            lines.append(_joined(line))
            line = []
        line += unit
    if line:
        lines.append(_joined(line))
    return lines


def wrapped_text(text: str, size: float, room: float, *, bold: bool = False) -> list[Line]:
    """One text broken into lines."""
    return wrapped([Run(text, bold)], size, room)


def wrapped_parts(parts: Iterable[str], size: float, room: float) -> list[Line]:
    """Short phrases with middle dots between them; a line breaks between phrases wherever they fit whole."""
    lines: list[str] = []
    for part in parts:
        longer = f"{lines[-1]} · {part}" if lines else part
        if lines and width(longer, size) <= room:
            lines[-1] = longer
        else:
            lines.append(part)
    return [line for text in lines for line in wrapped_text(text, size, room)]


def letters(line: Line, at: tuple[float, float], size: float, class_: str, anchor: str | None = None) -> str:
    """One line as a text element; `at` is where its base line starts, or ends with the anchor `end`."""
    whole = len(line) == 1
    content = [
        words(run.text) if whole else element("tspan", words(run.text), font_weight=600 if run.bold else None)
        for run in line
    ]
    return element(
        "text",
        *content,
        class_=class_,
        x=number(at[0]),
        y=number(at[1]),
        font_size=number(size),
        font_weight=600 if whole and line[0].bold else None,
        text_anchor=anchor,
    )

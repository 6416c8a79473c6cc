"""The two families of marks: what came of an act, and where work stands; shape first, in the colour of the text.

Discs, triangle and octagon say what happened; cards with a cut corner say where work stands. Each is drawn on a field
of 20 units and reads at 14 px in grey. A mark never stands without its word.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from registry.drawings.svg import element, words

FIELD = 20

_TICK = "M5.2 10.3 6.7 8.8 8.9 11 13.4 6.1 15 7.6 9 14.1Z"
_CARD = "M3.4 2.4H12.4L16.6 6.6V17.6H3.4Z"
_CUT = "M2.5 1.5H12.8L17.5 6.2V18.5H2.5Z"


def _filled(path: str) -> str:
    return element("path", d=path, fill="currentColor", fill_rule="evenodd")


def _drawn(path: str, *, dashes: str | None = None, width: str = "1.8") -> str:
    return element(
        "path",
        d=path,
        fill="none",
        stroke="currentColor",
        stroke_width=width,
        stroke_linejoin="round",
        stroke_dasharray=dashes,
    )


def _disc(radius: float) -> str:
    half = f"a{radius:g} {radius:g} 0 1 1"
    return f"M{10 - radius:g} 10{half} {2 * radius:g} 0{half} {-2 * radius:g} 0Z"


_RING = _disc(7.9)

RESULTS: Mapping[str, str] = MappingProxyType(
    {
        "resolved": _filled(_disc(9) + _TICK),
        "partly": _drawn(_RING) + _filled("M10 2.1a7.9 7.9 0 0 0 0 15.8Z"),
        "unchanged": _drawn(_RING) + _drawn("M6 8H14M6 12H14"),
        "worse": _filled("M1 3.2H19L10 18.2Z"),
        "stopped_for_safety": _drawn("M6.6 1.8H13.4L18.2 6.6V13.4L13.4 18.2H6.6L1.8 13.4V6.6Z", width="2"),
        "not_delivered": _drawn(_RING) + _drawn("M2.1 10H17.9"),
        "done": _drawn("M10 1.8 18.2 10 10 18.2 1.8 10Z", width="2"),
        "unknown": _drawn(_RING)
        + _drawn("M7.4 8.1a2.6 2.6 0 1 1 3.9 2.2Q10 11 10 12.1", width="1.7")
        + _filled("M9 13.4H11V15.3H9Z"),
        "declined": _drawn(_RING, dashes="3.1 1.86", width="1.7"),
        "injury": _drawn("M10 2.2 18.6 17.4H1.4Z")
        + _drawn("M10 7.4V12.1")
        + _filled("M9.1 13.4H10.9V15.2H9.1Z"),
    }
)
"""What came of an act, an option declined, an injury."""

WORK: Mapping[str, str] = MappingProxyType(
    {
        "due": _drawn(_CARD),
        "reviewing": _drawn(_CARD) + _filled("M3.4 2.4H10V17.6H3.4Z"),
        "complete": _filled(_CUT + "M5.4 11.1 6.9 9.6 9 11.7 12.9 7.4 14.4 8.8 9 14.7Z"),
        "none": _drawn(_CARD) + _drawn("M6.4 11H13.6", width="2"),
        "missing": _drawn(_CARD, dashes="2.6 2.1"),
        "late": _filled(_CUT + "M9 5.6H11V11.6H9ZM9 13.2H11V15.4H9Z"),
        "draft": _drawn("M3 17 4.1 12.9 13.6 3.4a1.5 1.5 0 0 1 2.1 0L16.6 4.3a1.5 1.5 0 0 1 0 2.1L7.1 15.9Z")
        + _drawn("M11.8 5.2 14.8 8.2", width="1.5"),
        "twice": _drawn("M1.6 10a5 5 0 1 1 10 0a5 5 0 1 1 -10 0Z")
        + _drawn("M8.4 10a5 5 0 1 1 10 0a5 5 0 1 1 -10 0Z"),
        "signal": _drawn("M0.8 8.8H6.2M14.4 8.8H19.2", width="1.8")
        + _drawn("M2.5 17.8 8.6 14.6 13 2", width="2"),
    }
)
"""Where work stands: duties, returns, reviews, drafts, doubled lots, signals."""

MARKS: Mapping[str, str] = MappingProxyType({**RESULTS, **WORK})


def symbol_sheet() -> str:
    """The published file `static/registry/marks.svg`: every mark as a symbol of the same name."""
    symbols = [
        f"  {element('symbol', shape, id=name, viewBox=f'0 0 {FIELD} {FIELD}')}\n"
        for name, shape in MARKS.items()
    ]
    return element("svg", "\n", *symbols, xmlns="http://www.w3.org/2000/svg") + "\n"


def mark(name: str, sheet: str, *, size: int = FIELD) -> str:
    """A mark beside a word in a page; `sheet` is the address of the symbol file. KeyError for an unknown name."""
    if name not in MARKS:
        raise KeyError(name)
    return element(
        "svg",
        element("use", href=f"{sheet}#{name}"),
        class_=f"mark mark-{words(name)}",
        aria_hidden="true",
        focusable="false",
        width=size,
        height=size,
        viewBox=f"0 0 {FIELD} {FIELD}",
    )


def drawn_mark(name: str, middle: tuple[float, float], size: float) -> str:
    """A mark within a picture, its middle there, in the colour of the group around it. KeyError if unknown."""
    x, y = middle[0] - size / 2, middle[1] - size / 2
    return element("g", MARKS[name], transform=f"translate({x:.1f} {y:.1f}) scale({size / FIELD:.3f})")

"""The plan of the coronary tree: where each numbered segment runs on the map, at 0, 45 and 90 degrees.

A schema, not a measure: the right coronary artery stands left as in the left anterior oblique view. Segments after the
AHA reporting system (Austen 1975) as extended by SYNTAX; which exist with which dominance is said by the vocabulary.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

WIDTH = 400
HEIGHT = 360

AORTA = (178, 34, 23)
"""Middle and radius of the aorta."""


@dataclass(frozen=True, slots=True)
class Course:
    """One segment: its path, the width of its stroke, where its number stands and how it is anchored.

    `words_at` is where words about the segment stand beside it and how they are anchored, None where there is no room.
    """

    points: tuple[tuple[int, int], ...]
    stroke: int
    number_at: tuple[int, int]
    anchor: str = "middle"
    words_at: tuple[int, int, str] | None = None

    @property
    def path(self) -> str:
        """The course as path data."""
        first, *others = self.points
        return f"M{first[0]} {first[1]}" + "".join(f"L{x} {y}" for x, y in others)


COURSES: Mapping[str, Course] = MappingProxyType(
    {
        "1": Course(((151, 34), (88, 34), (48, 74)), 7, (62, 46), "end", (84, 71, "start")),
        "2": Course(((48, 82), (48, 184)), 7, (36, 138), "end", (64, 138, "start")),
        "3": Course(((48, 192), (48, 226), (78, 256), (110, 256)), 7, (54, 256), "end", (68, 213, "start")),
        "4": Course(((116, 264), (116, 336)), 5, (116, 353)),
        "16": Course(((122, 256), (196, 256)), 5, (160, 246)),
        "16a": Course(((138, 264), (138, 290), (150, 302), (150, 336)), 4, (150, 353)),
        "16b": Course(((167, 264), (167, 290), (179, 302), (179, 336)), 4, (179, 353)),
        "16c": Course(((196, 264), (196, 290), (208, 302), (208, 336)), 4, (208, 353)),
        "5": Course(((205, 34), (244, 34)), 7, (224, 22)),
        "6": Course(((256, 34), (292, 34), (308, 50)), 7, (276, 22)),
        "7": Course(((314, 56), (334, 76), (334, 138)), 6, (324, 116), "end"),
        "8": Course(((334, 148), (334, 290)), 5, (324, 246), "end"),
        "9": Course(((318, 48), (374, 48)), 4, (380, 53), "start"),
        "9a": Course(((342, 92), (370, 92)), 4, (376, 97), "start"),
        "10": Course(((342, 143), (370, 143)), 4, (376, 148), "start"),
        "10a": Course(((342, 190), (366, 190)), 4, (371, 195), "start"),
        "11": Course(((250, 42), (250, 102)), 6, (240, 80), "end", (238, 104, "end")),
        "12": Course(((257, 43), (283, 69), (283, 98)), 4, (283, 115)),
        "12a": Course(((256, 112), (283, 139), (283, 156)), 4, (283, 173)),
        "13": Course(((250, 111), (250, 204)), 6, (240, 166), "end", (238, 182, "end")),
        "12b": Course(((256, 168), (283, 195), (283, 209)), 4, (283, 226)),
        "14": Course(((250, 212), (250, 242), (270, 262), (270, 282)), 5, (258, 241), "start"),
        "14a": Course(((276, 266), (304, 294), (304, 336)), 4, (304, 353)),
        "14b": Course(((270, 291), (270, 336)), 4, (270, 353)),
        "15": Course(((245, 210), (230, 225), (230, 336)), 5, (236, 353)),
    }
)
"""Every segment of the vocabulary, in the order in which it is drawn."""

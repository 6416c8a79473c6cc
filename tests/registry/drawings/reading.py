"""Reads a drawing back: its words in order, its elements; may touch no model."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

from registry.canonical import read
from tests.builders import Document

CASES = Path(__file__).parents[3] / "fixtures" / "cases"

SVG = "{http://www.w3.org/2000/svg}"


def case(name: str) -> Document:
    document: Document = read((CASES / f"{name}.json").read_bytes())
    return document


def parsed(picture: str) -> ElementTree.Element:
    return ElementTree.fromstring(picture)


def lines(picture: str) -> list[str]:
    """What stands in each text element, in the order of drawing."""
    return ["".join(text.itertext()) for text in parsed(picture).iter(f"{SVG}text")]


def words_of(picture: str) -> str:
    """All drawn words with the lines joined; a line breaks at a space or at a middle dot."""
    return " ".join(lines(picture)).replace(" · ", " ")


def holds_under_a_strict_policy(picture: str) -> bool:
    """No style, no script, no foreign object, no handler, no address to elsewhere."""
    for node in parsed(picture).iter():
        if node.tag.removeprefix(SVG) in {"style", "script", "foreignObject", "image", "a"}:
            return False
        if any(key == "style" or key.startswith("on") or "href" in key for key in node.attrib):
            return False
    return True

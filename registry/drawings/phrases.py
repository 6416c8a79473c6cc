"""Codes and numbers of a case document as words in a sentence; says apart what is not known and not recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from registry.terms import OTHER, UNKNOWN
from registry.vocabulary import word_list

Document = Mapping[str, Any]

UNBROKEN = "\N{NO-BREAK SPACE}"
"""The space at which no line ends."""


def lowered(label: str) -> str:
    """The label as it stands within a sentence."""
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]


def raised(phrase: str) -> str:
    """The phrase as it begins a sentence."""
    return phrase[:1].upper() + phrase[1:]


def named(list_name: str, code: str | None, subject: str) -> str:
    """The label of a code; what is missing, unknown or other is said of the `subject` ("technique not known")."""
    if code is None:
        return f"{subject} not recorded"
    if code == UNKNOWN:
        return f"{subject} not known"
    if code == OTHER:
        return f"other {subject}"
    return word_list(list_name)[code].label


def counted(number: int, one: str, many: str) -> str:
    """`1 attempt`, `4 attempts`, `1,200 attempts`."""
    return f"{number:,} {one if number == 1 else many}"


def joined(parts: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def known_number(value: Any) -> Decimal | None:
    """The number, or None where it is not recorded or not known."""
    return None if value is None or value == UNKNOWN else Decimal(str(value))


def plain(value: Decimal) -> str:
    """The shortest plain form of a number, with commas between thousands and a true minus sign."""
    text = f"{value:,f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace("-", "−")


def clock(value: Decimal) -> str:
    """Minutes from recognition for the narrow column: whole minutes, above 999 whole hours."""
    whole = int(value.to_integral_value(ROUND_HALF_UP))
    return f"{plain(Decimal(whole))} min" if abs(whole) < 1000 else f"{plain(Decimal(round(whole / 60)))} h"


def aim_in_words(action: Document, injuries: Mapping[str, Document]) -> str:
    """`to free`, `to treat coronary dissection, type B`, `aim not recorded`."""
    code = action.get("aim")
    treated = injuries.get(str(action.get("treats")))
    if code == "treat_injury" and treated is not None:
        return f"to treat {lowered(injury_in_words(treated))}"
    words = named("aim", code, "aim")
    return words if code in (None, UNKNOWN, OTHER) else f"to {lowered(words)}"


def result_in_words(action: Document) -> str:
    """`unchanged`, `result not recorded`."""
    return lowered(named("result", action.get("result"), "result"))


def injury_in_words(injury: Document) -> str:
    """Kind and grade: `Coronary dissection, type B`."""
    kind = named("injury_kind", injury.get("kind"), "injury")
    scale, grade = injury.get("scale"), injury.get("grade")
    if grade in (None, UNKNOWN, OTHER) or scale in (None, UNKNOWN, OTHER):
        return f"{kind}, grade not known" if grade == UNKNOWN else kind
    return f"{kind}, {lowered(word_list(f'grade_{scale}')[str(grade)].label)}"


def _inverted(label: str) -> str:
    """`Balloon, semi-compliant` as it is said: semi-compliant balloon."""
    noun, comma, kind = label.partition(", ")
    if not comma or "not recorded" in kind:
        return lowered(label)
    return f"{kind} {lowered(noun)}"


def _size(device: Document) -> str:
    french = known_number(device.get("size_f"))
    if french is not None:
        return f"{plain(french)} F"
    if device.get("class") == "guidewire":
        return ""
    diameter, length = known_number(device.get("diameter_mm")), known_number(device.get("length_mm"))
    if diameter is None:
        return f"{plain(length)} mm long" if length is not None else ""
    return f"{plain(diameter)} × {plain(length)} mm" if length is not None else f"{plain(diameter)} mm"


def device_in_words(device: Document, names: Mapping[str, str]) -> str:
    """Class, model by its name (else its code) and size: `drug-eluting stent Halden S3, 3 × 28 mm`."""
    words = _inverted(named("device_class", device.get("class"), "device"))
    wire = device.get("wire_class")
    if wire not in (None, UNKNOWN, OTHER):
        words = f"{lowered(word_list('wire_class')[str(wire)].label)} {words}"
    model = device.get("model")
    if model not in (None, UNKNOWN):
        words = f"{words} {names.get(str(model), str(model))}"
    return ", ".join(part for part in (words, _size(device).replace(" ", UNBROKEN)) if part)

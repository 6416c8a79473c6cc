"""Reading a unique device identifier (UDI) in the GS1 form, through `biip`. No Django.

Application identifiers and check digit by the GS1 General Specifications; other issuing agencies' forms are kept as
they are and reported as not read.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from biip import ParseError
from biip.gs1_messages import GS1Message


@dataclass(frozen=True, slots=True)
class DeviceIdentifier:
    """What a UDI says: `gtin` (14 digits) names the model, the rest the single device. None where it does not say.

    `problem` says in words what could not be read.
    """

    gtin: str | None = None
    made: datetime.date | None = None
    expires: datetime.date | None = None
    lot: str | None = None
    serial: str | None = None
    problem: str = ""


def parse_udi(text: str) -> DeviceIdentifier:
    """Read a UDI as scanned (with or without symbology prefix) or as printed with brackets; never raises.

    >>> parse_udi("(01)51022222233336(17)150707(10)A213B1").lot
    'A213B1'
    """
    written = text.strip()
    if not written:
        return DeviceIdentifier(problem="nothing was given")
    try:
        message = (
            GS1Message.parse_hri(written)
            if written.startswith("(")
            else GS1Message.parse(written.removeprefix("]d2").removeprefix("]C1").removeprefix("]Q3"))
        )
    except (ParseError, ValueError):
        return DeviceIdentifier(problem="not a UDI in the GS1 form")
    elements = {element.ai.ai: element for element in message.element_strings}
    first = elements.get("01")
    gtin = first.gtin.value if first is not None and first.gtin is not None else None
    problem = ""
    if first is None:
        problem = "it has no device identifier (01)"
    elif gtin is None:
        problem = f"the check digit of its device identifier {first.value} is wrong"
    return DeviceIdentifier(
        gtin=gtin.zfill(14) if gtin else None,
        made=elements["11"].date if "11" in elements else None,
        expires=elements["17"].date if "17" in elements else None,
        lot=elements["10"].value if "10" in elements else None,
        serial=elements["21"].value if "21" in elements else None,
        problem=problem,
    )


def gtin_of(text: str) -> str | None:
    """The model's number in a UDI, or None where it cannot be read."""
    return parse_udi(text).gtin

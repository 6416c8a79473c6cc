"""What is wrong, or to be asked about, at a place of a document, in words for the person who typed it. No Django."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from registry.canonical import Json, printable, shown

MOST = 100
"""How many refusals, and how many questions, are listed for one document."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark on one field: where (JSON path), the value found, what is the matter and what is allowed.

    `refused` is False for what a form would ask about once and then accept.
    """

    path: str
    value: Json
    says: str
    allowed: str = ""
    refused: bool = True

    def under(self, prefix: str) -> Finding:
        """The same finding, seen from further up in the document."""
        return replace(self, path=joined(prefix, self.path))

    def __str__(self) -> str:
        field = self.path.rsplit(".", 1)[-1].split("[")[0]
        value = "missing" if self.value is None else f"value {shown(self.value)}"
        sentence = f"$.{self.path}: field {field}, {value}: {self.says}" if self.path else self.says
        return printable(f"{sentence}; allowed: {self.allowed}" if self.allowed else sentence)


def joined(prefix: str, path: str) -> str:
    """Two parts of a JSON path as one."""
    if not prefix or not path:
        return prefix or path
    return f"{prefix}{path}" if path.startswith("[") else f"{prefix}.{path}"


def first(findings: Iterable[Finding]) -> Iterator[Finding]:
    """The first refusals and the first questions, `MOST` of each; of more it is only said that there are.

    A document of 1 MB can hold a hundred thousand wrong words, and nobody reads so many lines about it.
    """
    seen = {True: 0, False: 0}
    for finding in findings:
        seen[finding.refused] += 1
        if seen[finding.refused] <= MOST:
            yield finding
        elif finding.refused:
            yield Finding("", None, f"more than {MOST} values are wrong; the rest is not listed")
            return
    if seen[False] > MOST:
        yield Finding(
            "", None, f"more than {MOST} values to ask about; the rest is not listed", refused=False
        )


def refusals(findings: Iterable[Finding]) -> list[Finding]:
    """Those that refuse the document."""
    return [finding for finding in findings if finding.refused]


def questions(findings: Iterable[Finding]) -> list[Finding]:
    """Those that are asked about, then accepted."""
    return [finding for finding in findings if not finding.refused]

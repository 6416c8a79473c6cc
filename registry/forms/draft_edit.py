"""What a post makes of a draft: fields read or merged, then one operation, then what is open. Pure.

An operation that is refused leaves the fields that came with it kept; what cannot be read stays as it was typed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from registry.canonical import Json, read, write
from registry.editing import Gone, Outcome, apply
from registry.editing import Refused as NotDone
from registry.editing.places import inside, kind_of, stands
from registry.forms import codec
from registry.forms.merging import Clash as FieldClash
from registry.forms.merging import merge, spoken
from registry.forms.merging_cases import merge_cases
from registry.forms.still_open import label_of_field
from registry.forms.story import GROUPS, where
from registry.recording.drafts import KEEP, STEPS, Clash, DraftText, Step, Stood

UNDO = "undo"
LATER = ("save", "theirs")
"""Words of what is done once the fields are kept."""


@dataclass
class DraftEdit:
    """One post at work; after it was called it tells what is to be focused, said, and what was refused."""

    posted: Mapping[str, Sequence[str]]
    words: str
    focus: str = ""
    said: str = ""
    refused: str = ""
    messages: dict[str, str] = field(default_factory=dict)

    def __call__(self, stood: Stood) -> DraftText:
        """The text that is to stand; raises Clash."""
        self.focus = self.said = self.refused = ""
        document, taken = self._fields(stood)
        self.messages = taken.messages
        answered = set(taken.fields) | {f"{name}?" for name in taken.fields}
        typed = {name: text for name, text in stood.now.typed.items() if name not in answered} | taken.typed
        opened = stood.now.opened
        steps = stood.now.steps
        name, _, rest = self.words.partition(" ")
        if name == "close":
            self.focus, opened = opened, ""
        elif name == "open":
            self.focus, opened = rest, where(rest) or opened
        elif name == UNDO:
            document, steps = self._undone(document, steps, rest)
        elif name not in (KEEP, *LATER):
            outcome = self._operation(document)
            if outcome.document != document:
                step = Step(stood.version, self.said, write(document), write(outcome.document))
                steps = (*steps, step)[-STEPS:]
            document, opened = outcome.document, self._opens(outcome, opened)
        return standing(replace(stood.now, document=document, typed=typed, opened=opened, steps=steps))

    def _undone(
        self, document: dict[str, Json], steps: tuple[Step, ...], number: str
    ) -> tuple[dict[str, Json], tuple[Step, ...]]:
        """Without the last operation, where it is the one that the page shows; what was typed since stays."""
        if not steps:
            self.refused = "There is nothing to take back."
        elif number and number != str(steps[-1].version):
            self.refused = (
                f"Another page has done something since: {steps[-1].said} Press again to take that back."
            )
        else:
            step = steps[-1]
            self.focus, self.said = UNDO, f"Taken back: {step.said}"
            merged = merge_cases(read(step.after), read(step.before), document, prefer_mine=True)
            return merged.document, steps[:-1]
        return document, steps

    def _operation(self, document: dict[str, Json]) -> Outcome:
        if self.words == "nothing chosen":
            self.refused = "Choose something in the list first."
            return Outcome(document)
        try:
            outcome = apply(document, self.words)
        except (NotDone, Gone) as refused:
            self.refused = str(refused)
            return Outcome(document)
        self.focus, self.said = outcome.focus, outcome.said
        return outcome

    def _opens(self, outcome: Outcome, opened: str) -> str:
        """The row that is open afterwards: a device taken from an open rung leaves the rung open."""
        if outcome.opens is None:
            return opened
        if outcome.opens == "":
            last = outcome.focus.rpartition(" ")[2]
            return opened if opened and where(last) == opened and not last.endswith(".ending") else ""
        return where(outcome.opens) or opened

    def _fields(self, stood: Stood) -> tuple[dict[str, Json], codec.Read]:
        names = list(self.posted.get("has", ()))
        now = stood.now.document
        if not stood.moved_on:
            taken = codec.read(now, self.posted, self._standing(now, names))
            return taken.document, taken
        if stood.base is None:
            taken = codec.read(now, self.posted, self._standing(now, names))
            if not stood.mine:
                self._refuse_what_differs(now, taken, names)
            return taken.document, taken
        taken = codec.read(stood.base, self.posted, self._standing(stood.base, names))
        merged = merge(stood.base, taken.document, now, prefer_mine=stood.mine)
        if merged.clashes and not stood.mine:
            raise Clash(list(merged.clashes))
        return merged.document, taken

    def _refuse_what_differs(self, now: Mapping[str, Json], taken: codec.Read, names: Sequence[str]) -> None:
        """A page too old to be compared: all that it says otherwise, or of rows that are gone, is asked about."""
        changed = [name for name in taken.fields if not _same(now, taken.document, name)]
        missing = [name for name in names if not _stands(now, name)]
        lost = [name for name in self.posted if inside(name, missing) and any(self.posted[name])]
        if changed or lost:
            gone = [FieldClash(name, name, self.posted[name][0], None) for name in lost]
            raise Clash([_clash(now, taken.document, name) for name in changed] + gone)

    @staticmethod
    def _standing(document: Mapping[str, Json], names: Sequence[str]) -> list[str]:
        return [name for name in names if _stands(document, name)]


def standing(text: DraftText) -> DraftText:
    """The same without typed texts and an open row whose place does not stand in its document any more."""
    typed = {name: typed for name, typed in text.typed.items() if _stands(text.document, name)}
    opened = text.opened if text.opened in GROUPS or stands(text.document, text.opened) else ""
    return replace(text, typed=typed, opened=opened)


def _stands(document: Mapping[str, Json], name: str) -> bool:
    """Whether a section or field is in the draft."""
    if stands(dict(document), name):
        return True
    try:
        kind_of(dict(document), name.removesuffix("?"))
    except Gone:
        return False
    return True


def _same(one: Mapping[str, Json], other: Mapping[str, Json], name: str) -> bool:
    return spoken(dict(one), name) == spoken(dict(other), name)


def _clash(theirs: Mapping[str, Json], mine: Mapping[str, Json], name: str) -> Any:
    return FieldClash(name, label_of_field(mine, name), spoken(dict(mine), name), spoken(dict(theirs), name))

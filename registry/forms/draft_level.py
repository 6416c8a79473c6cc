"""An amendment brought level with its case, which moved on meanwhile: merged like two pages of one draft. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from registry.canonical import write
from registry.forms.aligning import aligned
from registry.forms.draft_edit import standing
from registry.forms.merging import Clash as FieldClash
from registry.forms.merging_cases import merge_cases
from registry.recording.draft_saving import Behind
from registry.recording.drafts import STEPS, Clash, DraftText, Step

ASK, MINE, THEIRS = "", "mine", "theirs"
_SHOWN = "where they differ, what now stands in the case was taken over."


@dataclass
class Level:
    """How two changes of a case are settled: asked about, by `mine` or by `theirs`.

    After it was called `merged` says whether it had anything to do, and `lost` names what of mine could not stand.
    """

    prefer: str = ASK
    merged: bool = False
    lost: list[FieldClash] = field(default_factory=list)

    def __call__(self, behind: Behind) -> DraftText:
        """The draft with what the case became since; raises Clash where it is to be asked about."""
        now = behind.now
        theirs = aligned(behind.theirs, behind.base, now.document)
        plain = merge_cases(behind.base, now.document, theirs)
        if plain.clashes and self.prefer == ASK:
            raise Clash(list(plain.clashes))
        mine = merge_cases(behind.base, now.document, theirs, prefer_mine=True)
        document, steps = plain.document, now.steps
        if self.prefer == MINE:
            document, self.lost = mine.document, list(mine.clashes)
        elif plain.clashes:
            # Taking this step back puts mine in again.
            step = Step(behind.version, _SHOWN, write(mine.document), write(plain.document))
            steps = (*steps, step)[-STEPS:]
        self.merged = True
        return standing(replace(now, document=document, steps=steps, case_text=write(theirs)))

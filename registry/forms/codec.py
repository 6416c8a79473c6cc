"""The one codec between form fields and a draft: what is posted is read into a new draft, section by section. Pure.

Only the sections or single fields that the post names are read; a field that says what it said is left as it stands,
to the last character, so that opening and saving changes nothing. What cannot be read stays as typed, with a message.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from registry import field_kinds as kinds
from registry.canonical import Json, printable
from registry.editing.places import Draft, Found, Refused, copied, found
from registry.editing.typed import Unreadable, fits_scale, value_of
from registry.field_kinds import Field
from registry.forms.labels import words_of
from registry.forms.meaning import meaning, put
from registry.forms.merging import Clash, Merged, merge
from registry.forms.showing import FieldShown, Option, control, named_fields, sections, sent, shown, texts_of

Posted = Mapping[str, Sequence[str]]
"""All values of each name that was sent, as `dict(request.POST.lists())` gives them."""


@dataclass(frozen=True, slots=True)
class Read:
    """What a post says.

    `typed` holds, by field name, the texts that could not be read (`NAME?` where its box was ticked too), `messages`
    what is the matter; such fields stand in the document as they stood. `fields` are all names that were read.
    """

    document: Draft
    typed: dict[str, str] = field(default_factory=dict)
    messages: dict[str, str] = field(default_factory=dict)
    fields: list[str] = field(default_factory=list)


def read(draft: Mapping[str, Json], posted: Posted, named: Iterable[str]) -> Read:
    """Read the named sections or fields of a post into a copy of the draft.

    Gone where one of them does not stand in the draft. A field that was not sent is left as it is, but a list of boxes
    of which none is ticked is emptied: none was chosen, which is not recorded, not "none".
    """
    before = dict(draft)
    taken = Read(copied(draft))
    for section in dict.fromkeys(named):
        for place, name, kind in named_fields(before, section):
            full = f"{place.name}.{name}"
            if full in posted or f"{full}?" in posted or control(kind) == "choices":
                taken.fields.append(full)
                _read_field(before, taken, place, name, kind, posted)
    return taken


def _read_field(before: Draft, taken: Read, place: Found, name: str, kind: Field, posted: Posted) -> None:
    full = f"{place.name}.{name}"
    texts, box = list(posted.get(full, [])), bool(posted.get(f"{full}?"))
    stands = meaning(before, place, name, kind)
    if _untouched(kind, stands, texts, box):
        return
    try:
        value = _value(taken.document, place.name, kind, stands, texts, box)
        put(taken.document, full, value)
    except (Unreadable, Refused) as error:
        text = texts[0] if texts else ""
        taken.typed.update({full: text, f"{full}?": "on"} if box else {full: text})
        taken.messages[full] = _message(words_of(place.kind.name, name).label, text, error)


def _message(label: str, text: str, error: Exception) -> str:
    if not isinstance(error, Unreadable):
        return f"{label}: {error}"
    shortened = text if len(text) <= 60 else f"{text[:59]}…"
    return f"{label}, “{printable(shortened)}”: {error.says}. Allowed: {error.allowed}."


def _untouched(kind: Field, stands: Json, texts: list[str], box: bool) -> bool:
    as_sent, unknown = texts_of(kind, stands)
    if control(kind) == "choices":
        return set(texts) == set(as_sent)
    lines = control(kind) == "lines"
    return [_plain(text, lines) for text in texts or [""]] == [_plain(text, lines) for text in as_sent] and (
        box == bool(unknown)
    )


def _plain(text: str, lines: bool) -> str:
    """The text as every browser sends it: one kind of line end in a textarea, none in a line."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text if lines else text.replace("\n", "")


def _value(draft: Draft, place: str, kind: Field, stands: Json, texts: list[str], box: bool) -> Json:
    """What was answered, in the terms of `meaning`."""
    if isinstance(kind, kinds.List) and control(kind) == "choices":
        return _codes(kind.item, stands, texts)
    text = texts[0] if texts else ""
    if box:
        if text.strip() not in ("", "?"):
            raise Unreadable("both a value and “not known”", "one of the two, or neither")
        return value_of("?", kind)
    if isinstance(kind, kinds.Reference | kinds.Position):
        return text or None
    if isinstance(kind, kinds.Text) and "\r\n" not in (stands or ""):
        text = text.replace("\r\n", "\n")
    value = value_of(text, kind)
    if isinstance(kind, kinds.Grade) and not fits_scale(
        value, (found(draft, place).thing or {}).get("scale")
    ):
        raise Unreadable("not a grade of the scale beside it", "a grade of that scale")
    return value


def _codes(kind: Field, stands: Json, texts: list[str]) -> Json:
    """The codes that stood and are ticked still, in their order, then those that are new."""
    kept = [code for code in stands or [] if code in texts]
    new = [value_of(code, kind) for code in dict.fromkeys(texts) if code not in kept]
    return [*kept, *new] or None


__all__ = [
    "Clash",
    "FieldShown",
    "Merged",
    "Option",
    "Read",
    "merge",
    "read",
    "sections",
    "sent",
    "shown",
]

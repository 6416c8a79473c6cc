"""The filters of a page as chips: what each says now, and the fields that it opens to. No query."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from analytics.asking import LABELS, WORDS, Asked, shortened
from registry.vocabulary import word_list

Choice = tuple[str, str, bool]
"""What is sent, what is shown, whether it is chosen."""


@dataclass(frozen=True, slots=True)
class Field:
    """One filter: `kind` is `checks`, `select` or `text`; `wrong` are the messages about it."""

    name: str
    label: str
    kind: str
    value: str
    wrong: tuple[str, ...]
    choices: tuple[Choice, ...] = ()
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Chip:
    """Filters that belong together; `open` where one of them cannot be used."""

    words: str
    narrows: bool
    fields: tuple[Field, ...]

    @property
    def open(self) -> bool:
        return any(field.wrong for field in self.fields)


def site_chip(asked: Asked, sites: Mapping[str, str]) -> list[Chip]:
    """Which sites, none ticked is all; no chip for somebody who has one site."""
    chosen = asked.typed.get("site", ())
    known = [(code, name, code in chosen) for code, name in sites.items()]
    strange = [(code, f"{shortened(code)} (no site of yours)", True) for code in chosen if code not in sites]
    names = [sites.get(code, shortened(code)) for code in dict.fromkeys(chosen)]
    if len(sites) == 1 and not chosen:
        return []
    words = " and ".join(names) if len(names) in (1, 2) else f"{len(names)} sites" if names else "All sites"
    field = _field(asked, "site", f"{LABELS['site']}; none ticked is all", "checks", (*known, *strange))
    return [Chip(words, bool(names), (field,))]


def period_chip(asked: Asked, *, whole_months: bool) -> Chip:
    """Which days of procedures."""
    since, until = shortened(asked.of("since")), shortened(asked.of("until"))
    words = {
        (True, True): f"{since} to {until}",
        (True, False): f"Since {since}",
        (False, True): f"Until {until}",
        (False, False): "Whole period",
    }[bool(since), bool(until)]
    hint = "YYYY-MM" if whole_months else "YYYY-MM, or YYYY-MM-DD"
    return Chip(
        words,
        bool(since or until),
        tuple(_field(asked, name, LABELS[name], "text", hint=hint) for name in ("since", "until")),
    )


def situation_chip(asked: Asked, situations: Iterable[tuple[str, str]], words: str) -> Chip:
    """Which situation; `words` say the one chosen, empty where it cannot be used."""
    fields = (("situation", list(situations)),)
    chip = _coded(asked, "All situations", fields)
    return replace(chip, words=words or chip.words)


def lesion_chip(asked: Asked) -> Chip:
    """Where it happened and what lay there."""
    return _coded(
        asked,
        "Any lesion",
        (
            ("segment", _words("segment")),
            ("contents", _words("lesion_content")),
        ),
    )


def device_chip(asked: Asked, *, wires: bool) -> Chip:
    """Which kind of device failed."""
    fields = [("device_class", _words("device_class"))]
    if wires:
        fields.append(("wire_class", _words("wire_class")))
    return _coded(asked, "Any device" if wires else "All classes", fields)


def grouping_chip(asked: Asked) -> Chip:
    """How the rows are put together; it narrows nothing."""
    words, typed = WORDS["by"], asked.of("by")
    chosen = typed or next(iter(words))
    choices = [(code, label, code == chosen) for code, label in words.items()]
    if typed and typed not in words:
        choices.append((typed, shortened(typed), True))
    field = _field(asked, "by", LABELS["by"], "select", tuple(choices))
    return Chip(words.get(chosen, shortened(chosen)), False, (field,))


def narrowed(chips: Iterable[Chip]) -> str:
    """What the figures are of alone, in words for print too; the situation stands in the title."""
    words = [chip.words for chip in chips if chip.narrows and chip.fields[0].name != "situation"]
    return f"Only: {'; '.join(words)}." if words else ""


def _words(name: str) -> list[tuple[str, str]]:
    return [(code, term.label) for code, term in word_list(name).terms.items() if not term.retired]


def _coded(asked: Asked, otherwise: str, fields: Iterable[tuple[str, list[tuple[str, str]]]]) -> Chip:
    shown, words = [], []
    for name, found in fields:
        typed, labels = asked.of(name), dict(found)
        choices = [("", "Any", not typed), *((code, text, code == typed) for code, text in found)]
        if typed and typed not in labels:
            choices.append((typed, shortened(typed), True))
        if typed:
            words.append(labels.get(typed, shortened(typed)))
        shown.append(_field(asked, name, LABELS[name], "select", tuple(choices)))
    return Chip(", ".join(words) or otherwise, bool(words), tuple(shown))


def _field(
    asked: Asked, name: str, label: str, kind: str, choices: tuple[Choice, ...] = (), hint: str = ""
) -> Field:
    wrong = tuple(str(one) for one in asked.problems if name in one.fields)
    return Field(name, label, kind, asked.of(name), wrong, choices, hint)

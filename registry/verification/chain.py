"""The chain, entry by entry: numbers without gaps, macs, columns, the versions and looks vouched for, the head."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

from registry.canonical import Json, NotReadable, read
from registry.journal import moment, seal_of
from registry.models import Head, JournalEntry, Look, Version
from registry.sealing import chain_mac, digest
from registry.verification.broken import Broken, entry_words

CHUNK = 1000
_WITNESS = re.compile(r"0:|[1-9][0-9]{0,17}:[0-9a-f]{64}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Witness:
    """A head as it was printed once, `NUMBER:MAC`; `0:` is that of an empty chain."""

    number: int
    mac: str

    @classmethod
    def of(cls, text: str) -> Witness:
        """The witness that a text names; ValueError where it names none."""
        if not _WITNESS.fullmatch(text.strip()):
            raise ValueError("a witness is NUMBER:MAC, the mac of 64 hexadecimal digits, as it was printed")
        number, _, mac = text.strip().partition(":")
        return cls(int(number), mac)


@dataclass(slots=True)
class _Link:
    """How far the chain has been followed."""

    number: int = 0
    mac: str = ""
    seal: int = 0
    versions: int = 0


@dataclass(frozen=True, slots=True)
class _Entry:
    """One entry as it is stored, with the code of the case that its row refers to."""

    id: int
    at: Any
    what: str
    case_id: int | None
    case_code: str | None
    text: str
    mac: str

    def __str__(self) -> str:
        return entry_words(self.id, self.what, self.case_code)


def check_chain(witness: Witness | None) -> str:
    """Follow the chain from its start; returns the head as `NUMBER:MAC`. Raises Broken, KeysMissing."""
    link = _Link()
    for chunk in _chunks():
        vouched = []
        for entry in chunk:
            members = _followed(link, entry)
            if witness is not None and witness.number == entry.id and witness.mac != entry.mac:
                raise Broken(f"{entry} is not the one of the witness: its mac is another")
            if members["version"] is not None:
                vouched.append((entry, members))
        _check_versions(vouched)
        link.versions += len(vouched)
    if (kept := Version.objects.count()) != link.versions:
        raise Broken(f"there are {kept} versions, but the journal speaks of {link.versions}")
    head = _checked_head(link)
    if witness is not None and (witness.number > link.number or (witness.number == 0 and link.number)):
        raise Broken(
            f"the chain ends at {head} and does not contain the witness {witness.number}:{witness.mac}: "
            "the registry was set back, or the witness is that of another one"
        )
    return head


def _chunks() -> Iterator[list[_Entry]]:
    columns = ("id", "at", "what", "case_id", "case__code", "text", "mac")
    rows = iter(JournalEntry.objects.order_by("pk").values_list(*columns).iterator(chunk_size=CHUNK))
    while chunk := [_Entry(*row) for row in islice(rows, CHUNK)]:
        yield chunk


def _followed(link: _Link, entry: _Entry) -> dict[str, Json]:
    """The members of the next entry; the link moves on to it."""
    if entry.id != link.number + 1:
        raise Broken(f"entry {link.number + 1} is missing: entry {link.number} is followed by {entry.id}")
    try:
        members: dict[str, Json] = read(entry.text)
        key = members["key"]
    except (NotReadable, KeyError, TypeError):
        raise Broken(f"{entry}: its text was changed and cannot be read") from None
    if chain_mac(str(key), link.mac, entry.id, entry.text) != entry.mac:
        raise Broken(f"{entry}: its text, its mac or its place in the chain was changed")
    stored = {
        "number": entry.id,
        "at": moment(entry.at),
        "what": entry.what,
        "case": entry.case_code,
    }
    for name, value in stored.items():
        if members[name] != value:
            raise Broken(f"{entry}: the column of its {name} was changed; its text says {members[name]}")
    if members["looks"] is not None:
        _check_looks(link, entry, members["looks"])
    link.number, link.mac = entry.id, entry.mac
    return members


def _check_looks(link: _Link, entry: _Entry, seal: dict[str, Json]) -> None:
    sealed = Look.objects.filter(pk__gt=link.seal, pk__lte=seal["last"]).order_by("pk")
    if seal_of(sealed) != seal:
        raise Broken(
            f"{entry}: the looks after number {link.seal}, up to {seal['last']}, are not those that it sealed"
        )
    link.seal = seal["last"]


def _check_versions(vouched: list[tuple[_Entry, dict[str, Json]]]) -> None:
    """That the version of each entry is there, with the text and the import that the entry names."""
    found = {
        (case, number): (digest(text), batch)
        for case, number, text, batch in Version.objects.filter(
            case__in={entry.case_id for entry, _ in vouched},
            number__in={members["version"] for _, members in vouched},
        ).values_list("case_id", "number", "text", "batch_id")
    }
    for entry, members in vouched:
        number = members["version"]
        there = found.get((entry.case_id, number)) if entry.case_id is not None else None
        if there is None:
            raise Broken(f"{entry}: version {number} of the case is missing")
        text, batch = there
        if text != members["sha256"]:
            raise Broken(f"{entry}: the text of version {number} of the case was changed")
        if batch != members["particulars"].get("batch"):
            raise Broken(f"{entry}: version {number} of the case is filed under another import")


def _checked_head(link: _Link) -> str:
    heads = list(Head.objects.all())
    if len(heads) != 1:
        raise Broken(f"there are {len(heads)} heads of the chain; a registry has one")
    head = heads[0]
    if head.number > link.number:
        raise Broken(f"entry {link.number + 1} is missing: the journal ends before its head, {head.number}")
    if (head.number, head.mac) != (link.number, link.mac):
        raise Broken(f"the head of the chain is {head}, but the last entry is {link.number}:{link.mac}")
    if head.seal != link.seal:
        raise Broken(f"the head says that looks are sealed up to {head.seal}, the journal up to {link.seal}")
    return str(head)

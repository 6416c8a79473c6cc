"""Running commands in a test as a shell would: exit status, stdout and stderr."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management import CommandError, call_command

from registry.canonical import write


@dataclass(frozen=True)
class Outcome:
    """What a command left behind."""

    status: int
    out: str
    err: str

    @property
    def last(self) -> str:
        """The last line of stdout."""
        return self.out.rstrip("\n").rsplit("\n", 1)[-1]


def command(*words: str | Path) -> Outcome:
    """Run a command by its words; a refusal is status 1 with its message on stderr, bad usage status 2."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command(*map(str, words), stdout=out, stderr=err)
    except CommandError as error:
        status = 1 if type(error).__name__ == "Refusal" else 2
        return Outcome(status, out.getvalue(), err.getvalue() + f"{error}\n")
    return Outcome(0, out.getvalue(), err.getvalue())


def jsonl(path: Path, documents: Sequence[Mapping[str, Any]]) -> Path:
    """A file of documents, one a line, as `export_cases` writes them."""
    path.write_text("".join(write(dict(document)) + "\n" for document in documents), encoding="utf-8")
    return path


def as_json(path: Path, value: Any) -> Path:
    """A file with one JSON value."""
    path.write_text(json.dumps(value, ensure_ascii=False), encoding="utf-8")
    return path

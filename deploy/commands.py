"""What all commands share: errors in words, exit status 1 for what a person can mend, files read as they should be."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, ProgrammingError

from registry.access import NotAllowed, NotFound
from registry.canonical import NotReadable, printable
from registry.recording.change import NotSaved
from registry.recording.imports import ImportRefused, Tally
from registry.recording.tables_of_text import Rows, rows_of_bytes
from registry.sealing import KeysMissing, NotOpened

MOST_LINES = 100


class Refusal(CommandError):
    """A message that a person can act on; exit status 1."""


class RegistryCommand(BaseCommand):
    """A command whose refusals are sentences. Subclasses write `run` in place of `handle`."""

    requires_migrations_checks = False
    run: Callable[..., None]
    """What the command does, given its options by name."""

    def handle(self, *arguments: Any, **options: Any) -> None:
        """Do the work; whatever refuses it becomes a sentence on stderr and exit status 1."""
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(encoding="utf-8", errors="backslashreplace")
        try:
            self.run(**options)
        except BrokenPipeError:
            # Whoever read the answer has stopped reading, as `head` does; that is no fault to speak of.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        except ImportRefused as refused:
            raise Refusal(_many(refused.errors)) from None
        except (NotSaved, NotAllowed, NotFound, KeysMissing, NotOpened, NotReadable) as error:
            raise Refusal(printable(str(error))) from None
        except (OperationalError, ProgrammingError) as error:
            raise Refusal(_database_words(error)) from None
        except OSError as error:
            raise Refusal(
                f"{error.filename or 'a file'} cannot be read or written: {error.strerror}"
            ) from None

    def say(self, line: str) -> None:
        """A line of the answer, on stdout."""
        self.stdout.write(printable(line))

    def remark(self, line: str) -> None:
        """A line beside the answer, on stderr: progress, a warning, what was left out."""
        self.stderr.write(printable(line))
        self.stderr.flush()


def _many(errors: Sequence[str]) -> str:
    shown = [printable(error) for error in errors[:MOST_LINES]]
    if len(errors) > MOST_LINES:
        shown.append(f"and {len(errors) - MOST_LINES} more")
    return "\n".join(["Nothing was imported:", *shown])


def _database_words(error: Exception) -> str:
    text = str(error)
    if "no such table" in text or "does not exist" in text:
        return "The registry has no tables yet. Run `manage.py set_up` or `manage.py demo` first."
    if "locked" in text:
        return "The registry is busy with another change; try again."
    return "The database cannot be reached or refuses: see its own log."


def existing_file(name: str) -> Path:
    """The path of a file that is there and can be read."""
    path = Path(name)
    if not path.is_file():
        raise Refusal(f"There is no file {name}.")
    return path


def rows_of_csv(path: Path, columns: Sequence[str], optional: Sequence[str] = ()) -> Rows:
    """The rows of a CSV file with the line each starts on; NotReadable, which is a refusal, where it is none."""
    return rows_of_bytes(path.read_bytes(), path.name, columns, optional)


def tally_line(tally: Tally, check_only: bool) -> str:
    """The last line of an import."""
    if check_only:
        return f"would create {tally.created}, leave {tally.unchanged}, amend {tally.amended}"
    return f"created {tally.created}, unchanged {tally.unchanged}, amended {tally.amended}"

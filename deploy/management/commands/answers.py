"""The figures of the pages as CSV on stdout; what was left out and why on stderr."""

from __future__ import annotations

import csv
import dataclasses
import re
from argparse import ArgumentParser
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from django.core.management.base import CommandError

from analytics import summaries
from analytics.answers import Answer, ConsideredRecord, DeviceRate, EndingRecord, TechniqueRecord
from analytics.cohorts import Filters, PeriodRefused
from deploy.commands import Refusal, RegistryCommand
from registry.access import Scope, scope_of_command_line
from registry.cautions import caution
from registry.partial_dates import Span, span

Asked = Callable[[Scope, Filters], Answer[Any]]

QUESTIONS: Mapping[str, tuple[Asked, type]] = {
    "techniques": (summaries.techniques, TechniqueRecord),
    "devices": (summaries.devices, DeviceRate),
    "endings": (summaries.endings, EndingRecord),
    "considered": (summaries.considered, ConsideredRecord),
}
_DAY_OR_MONTH = re.compile(r"\d{4}-\d{2}(-\d{2})?", re.ASCII)


class Command(RegistryCommand):
    """Answer a question from the whole registry."""

    help = "Prints the figures of a page as CSV; on stderr what was left out and why."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("question", choices=list(QUESTIONS))
        parser.add_argument(
            "--site", action="append", default=[], metavar="CODE", help="only of this site; repeatable"
        )
        parser.add_argument("--since", metavar="D", help="first day, YYYY-MM-DD or YYYY-MM")
        parser.add_argument("--until", metavar="D", help="last day, YYYY-MM-DD or YYYY-MM")
        parser.add_argument(
            "--by-attempt", action="store_true", help="techniques also by the attempt's number"
        )

    def run(
        self,
        *,
        question: str,
        site: list[str],
        since: str | None,
        until: str | None,
        by_attempt: bool,
        **_: Any,
    ) -> None:
        """See the help."""
        if by_attempt and question != "techniques":
            raise CommandError("--by-attempt goes with techniques only.", returncode=2)
        asked, record = QUESTIONS[question]
        columns = [field.name for field in dataclasses.fields(record)]
        if by_attempt:
            asked = partial(summaries.techniques, by_attempt=True)
        elif question == "techniques":
            columns.remove("attempt_in_situation")
        try:
            filters = Filters(_day_or_month("--since", since), _day_or_month("--until", until))
            answer = asked(scope_of_command_line().narrowed(site), filters)
        except PeriodRefused as refused:
            raise Refusal(str(refused)) from None
        self._print(answer, columns)

    def _print(self, answer: Answer[Any], columns: list[str]) -> None:
        table = csv.writer(self.stdout, lineterminator="\n")
        table.writerow(columns)
        table.writerows([_cell(getattr(row, column)) for column in columns] for row in answer.rows)
        for beside in (*answer.left_out, *answer.to_mend):
            self.remark(str(beside))
        if answer.method:
            self.remark(f"limits: {answer.method}")
        for name in answer.cautions:
            self.remark(caution(name))


def _day_or_month(option: str, text: str | None) -> Span | None:
    if text is None:
        return None
    try:
        if _DAY_OR_MONTH.fullmatch(text):
            return span(text)
        problem = "not a day or a month"
    except ValueError as error:
        problem = str(error)
    raise Refusal(
        f"{option}, value {text!r}: {problem}; allowed: YYYY-MM-DD, or YYYY-MM for the whole month."
    )


def _cell(value: str | int | float | None) -> str | int:
    """Rates and limits with six decimals; what is empty stays empty."""
    if value is None:
        return ""
    return f"{value:.6f}" if isinstance(value, float) else value

"""The figures of the pages as CSV on stdout; what was left out and why on stderr."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from django.core.management.base import CommandError

from analytics import summaries
from analytics.answers import Answer, ConsideredRecord, DeviceRate, EndingRecord, TechniqueRecord
from analytics.asking import day_or_month
from analytics.filters import Filters, PeriodRefused
from analytics.tables import beside, columns_of, write_csv
from deploy.commands import Refusal, RegistryCommand
from registry.access import Scope, scope_of_command_line
from registry.partial_dates import Span

Asked = Callable[[Scope, Filters], Answer[Any]]

QUESTIONS: Mapping[str, tuple[Asked, type]] = {
    "techniques": (summaries.techniques, TechniqueRecord),
    "devices": (summaries.devices, DeviceRate),
    "endings": (summaries.endings, EndingRecord),
    "considered": (summaries.considered, ConsideredRecord),
}


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
        if by_attempt:
            asked = partial(summaries.techniques, by_attempt=True)
        try:
            filters = Filters(_day_or_month("--since", since), _day_or_month("--until", until))
            answer = asked(scope_of_command_line().narrowed(site), filters)
        except PeriodRefused as refused:
            raise Refusal(str(refused)) from None
        self._print(answer, columns_of(record, by_attempt=by_attempt))

    def _print(self, answer: Answer[Any], columns: list[str]) -> None:
        write_csv(answer, columns, self.stdout)
        for sentence in beside(answer):
            self.remark(sentence)


def _day_or_month(option: str, text: str | None) -> Span | None:
    if text is None:
        return None
    try:
        return day_or_month(text)
    except ValueError as error:
        raise Refusal(
            f"{option}, value {text!r}: {error}; allowed: YYYY-MM-DD, or YYYY-MM for the whole month."
        ) from None

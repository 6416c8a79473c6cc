"""The disclosure rule of a release: which cases may leave, which are suppressed, and when nothing may; no query."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import compress

from analytics.statistics.disclosure import class_sizes
from registry.cautions import caution
from registry.deidentify.case_view import QUASI_IDENTIFIERS, READ_FROM, DeidentifiedCase
from registry.partial_dates import span

MONTHS = 12
"""The shortest period: with a shorter one, the year of a case would say in which month it was."""
ONE_IN = 5
"""No release is made where more than one case in this many would have to be suppressed."""

JUDGED_BY = READ_FROM | {
    "complications[].situation",
    "complications[].segments",
    "complications[].lesion",
    "lesions[].ref",
    "lesions[].segments",
}
"""The fields of the document on which the rule looks: those of the quasi-identifiers and of the sensitive values."""

Class = tuple[str, ...]
"""The quasi-identifiers that the cases of a class share."""


class ReleaseRefused(Exception):
    """Nothing is released; the message says why and what would do."""


@dataclass(frozen=True, slots=True)
class Period:
    """Whole months, both ends included."""

    since: datetime.date
    until: datetime.date

    @property
    def years(self) -> list[int]:
        """The calendar years that the period touches: all that a release says of it."""
        return list(range(self.since.year, self.until.year + 1))


@dataclass(frozen=True, slots=True)
class Disclosure:
    """What was found before anything was written: the cases that may leave, and the figures of the rule.

    `kept` says of each case, in the order in which they were judged, whether it may leave; `classes` has the
    quasi-identifiers of those that may. `sensitive` has for each sensitive value the smallest number of different
    values that a class holds, and the number of classes whose cases all share one.
    """

    smallest_class: int
    kept: Sequence[bool]
    classes: Sequence[Class]
    sizes: Mapping[int, int]
    sensitive: Mapping[str, tuple[int, int]]

    @property
    def considered(self) -> int:
        """How many cases were judged."""
        return len(self.kept)

    @property
    def released(self) -> int:
        """How many cases may leave."""
        return len(self.classes)

    @property
    def suppressed(self) -> int:
        """How many cases stand in classes that are too small."""
        return self.considered - self.released

    @property
    def reached(self) -> int:
        """The size of the smallest class that is released."""
        return min(self.sizes)


def period_of(since: str, until: str, today: datetime.date) -> Period:
    """The period between two dates, each a day, a month or a year; refused unless of whole months and long enough.

    Days that are still to come hold no case: a period that ends today or later ends with its month, and years to come
    make no period longer.
    """
    try:
        period = Period(span(since).earliest, span(until).latest)
    except ValueError as error:
        raise ReleaseRefused(f"--since {since} --until {until}: {error}") from None
    if period.until >= today:
        period = Period(period.since, span(f"{period.until:%Y-%m}").latest)
    if period.since.day != 1 or (period.until + datetime.timedelta(days=1)).day != 1:
        raise ReleaseRefused(
            f"the period {period.since} to {period.until} is not of whole months; it begins on the first day of a "
            "month and ends on the last: a release tells no more of a date than the year"
        )
    last = min(period.until, datetime.date(today.year, 12, 31))
    months = (last.year - period.since.year) * 12 + last.month - period.since.month + 1
    if months < MONTHS:
        raise ReleaseRefused(
            f"the period {period.since} to {period.until} is too narrow: it must hold at least {MONTHS} months, "
            f"not counting years to come, so that the year of a case doesn't say its month"
        )
    return period


def judged(cases: Iterable[DeidentifiedCase], smallest_class: int) -> Disclosure:
    """Which of the cases may leave, so that each has at least `smallest_class` with the same quasi-identifiers.

    A class is suppressed whole, which changes no other class. ReleaseRefused where that would be more than one case in
    five, or where there is no case. Of a case no more is looked at than the fields of `JUDGED_BY`.
    """
    rows: list[Class] = []
    held: dict[Class, _Held] = {}
    for case in cases:
        group = case.quasi_identifiers
        found = held.get(group) or held.setdefault(group, _Held(group))
        rows.append(found.shared)
        situation, segments = _sensitive(case)
        found.situations.add(situation)
        found.segments.add(segments)
    if not rows:
        raise ReleaseRefused("there is no case of these sites in this period; nothing is released")
    kept = class_sizes({"quasi-identifiers": rows}) >= smallest_class
    suppressed = len(rows) - int(kept.sum())
    if suppressed * ONE_IN > len(rows):
        raise ReleaseRefused(
            f"{suppressed} of {len(rows)} cases have fewer than {smallest_class} with the same "
            f"{', '.join(QUASI_IDENTIFIERS)}, more than one in {ONE_IN}; nothing is released: a longer period or "
            "more sites together may do"
        )
    sizes = Counter(compress(rows, kept))
    return Disclosure(
        smallest_class=smallest_class,
        kept=kept.tolist(),
        classes=list(compress(rows, kept)),
        sizes=dict(sorted(Counter(sizes.values()).items())),
        sensitive={
            "situation": _diversity(held[group].situations for group in sizes),
            "segments": _diversity(held[group].segments for group in sizes),
        },
    )


@dataclass(slots=True)
class _Held:
    """The sensitive values that a class holds; its quasi-identifiers are kept once, not once for each case."""

    shared: Class
    situations: set[Hashable] = field(default_factory=set)
    segments: set[Hashable] = field(default_factory=set)


def _sensitive(case: DeidentifiedCase) -> tuple[Hashable, Hashable]:
    """Situation and segments of the first complication; the segments are its lesion's where it has none of its own."""
    first = case.content["complications"][0]
    segments = first.get("segments")
    if segments is None:
        segments = next(
            (
                lesion.get("segments")
                for lesion in case.content.get("lesions", ())
                if lesion["ref"] == first.get("lesion")
            ),
            None,
        )
    return first["situation"], segments


def _diversity(values: Iterable[set[Hashable]]) -> tuple[int, int]:
    counts = [len(found) for found in values]
    return min(counts), counts.count(1)


def report(disclosure: Disclosure, left_out_for_their_date: int) -> dict[str, object]:
    """What `disclosure.json` says: the rule, what it wanted and what was reached, in counts only."""
    return {
        "rule": "k-anonymity: every case shares its quasi-identifiers with at least k - 1 others of the release",
        "quasi_identifiers": list(QUASI_IDENTIFIERS),
        "k_wanted": disclosure.smallest_class,
        "k_reached": disclosure.reached,
        "class_sizes": {str(size): classes for size, classes in disclosure.sizes.items()},
        "cases": {
            "considered": disclosure.considered,
            "released": disclosure.released,
            "suppressed": disclosure.suppressed,
            "left_out_before": {"date_too_roughly_known_for_the_period": left_out_for_their_date},
        },
        "suppressed_by_rule": {"class_smaller_than_k": disclosure.suppressed},
        "suppressed_share": round(disclosure.suppressed / disclosure.considered, 4),
        "most_that_may_be_suppressed": 1 / ONE_IN,
        "sensitive_values": {
            name: {"fewest_values_in_a_class": fewest, "classes_with_one_value": alike}
            for name, (fewest, alike) in disclosure.sensitive.items()
        },
        "statement": caution("release_rule"),
    }

"""Whatever a valid case holds, it can be read as facts and compared; none of it is a code, and none is sealed."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

from hypothesis import given

from registry.documents import completed
from registry.documents.sealed_fields import joined, parted
from registry.reading import aftermath, facts
from registry.reading.comparing import differences
from registry.reading.titles import title_of
from registry.reading.words import Known
from tests.builders import Document, a_case
from tests.strategies import case_documents

TODAY = datetime.date(2026, 6, 30)
NOBODY = Known()


def everything_told(clear: Any) -> Iterator[str]:
    """All words that the pages make of a clear document, beside its pictures."""
    yield title_of(clear)
    sections = [
        *facts.lesion_and_device(clear, NOBODY),
        *facts.procedure_facts(clear, NOBODY),
        *facts.patient_facts(clear),
        *aftermath.injury_facts(clear),
        *aftermath.fragment_facts(clear),
        *aftermath.outcome_facts(clear),
        *aftermath.plan_facts(clear, NOBODY),
        *aftermath.follow_up_facts(clear),
    ]
    for section in sections:
        yield section.title
        for fact in section.facts:
            yield from (fact.label, fact.value)
    for duty in aftermath.duty_lines(clear, NOBODY, TODAY):
        yield from (duty.state, duty.what, duty.dates, duty.decided)


@given(case_documents())
def test_every_valid_case_is_told_and_no_line_of_it_is_empty_or_a_double_comma(document: Document) -> None:
    clear, _ = parted(completed(document))
    told = list(everything_told(clear))
    assert told[0]
    for line in told:
        assert ", ," not in line
        # A line may begin with the word and mean it: "None of the risks asked about".
        assert "None" not in line.removeprefix("None")


@given(case_documents())
def test_any_case_is_compared_without_telling_what_is_sealed(document: Document) -> None:
    whole, least = completed(document), completed(a_case())
    assert differences(whole, whole) == []
    for old, new in ((whole, least), (least, whole)):
        sentences = differences(old, new)
        assert sentences
        clear, sealed = parted(whole)
        masked = joined(clear, dict.fromkeys(sealed, "x"))
        own_words = " ".join([*differences(masked, least), *differences(least, masked)])
        for secret in sealed.values():
            # A drawn text may happen to be one of the page's own words.
            if len(secret) > 9 and secret not in str(clear) and secret not in own_words:
                assert not any(secret in sentence for sentence in sentences)

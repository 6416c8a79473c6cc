"""Drafts: sealed, their own person's alone, kept in the order of rules that stood every trial, gone once submitted."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from registry.access import NotAllowed, NotFound, opened_document
from registry.editing import apply
from registry.models import Case, DataKey, Draft, Look, Person, Site
from registry.recording import draft_saving
from registry.recording.cases import amend_case, set_state, submit_case
from registry.recording.change import NotSaved
from registry.recording.checking import Refused
from registry.recording.draft_saving import Behind
from registry.recording.drafts import (
    Answer,
    Clash,
    DraftText,
    Edit,
    Sent,
    Stood,
    begin_amendment,
    begin_draft,
    discard_draft,
    drafts_of,
    kept,
    opened_draft,
)
from registry.recording.erasure import erase_patient
from registry.recording.sites import give_role
from registry.terms import CaseState, Role
from tests.builders import a_case, a_ladder

pytestmark = [pytest.mark.django_db, pytest.mark.data]


@pytest.fixture
def operator(north: Site) -> Person:
    return give_role("operator@example.org", north, Role.OPERATOR, by=None)


def doing(*operations: str) -> Edit:
    """An edit that applies operations to whatever stands."""

    def edit(stood: Stood) -> DraftText:
        document = stood.now.document
        for operation in operations:
            document = apply(document, operation).document
        return replace(stood.now, document=document)

    return edit


def press(person: Person, code: str, *operations: str, page: str = "p", once: str = "") -> Answer:
    """A page that is up to date presses buttons."""
    version = opened_draft(person, code).version
    return kept(person, code, Sent(version, page, None, once, operations[-1]), doing(*operations))


def submit_draft(person: Person, code: str, **more: Any) -> Case:
    """Submit a draft whose case has not moved on."""

    def merge(behind: Behind) -> DraftText:
        raise AssertionError("nothing was to be merged")

    return draft_saving.submit_draft(person, code, merge=merge, **more)


WHOLE = ("set C1.device.class guidewire", "set C1.situation wire_stuck", "set C1.ending out_whole")


def test_a_new_draft_has_the_day_of_its_site_and_one_complication(north: Site, operator: Person):
    draft = opened_draft(operator, begin_draft(north, operator))
    assert draft.text.document["procedure"] == {"date": draft.today.isoformat()}
    assert draft.text.document["complications"] == [{"_key": 1}]
    assert (draft.site, draft.case, draft.version) == ("north", None, 1)


def test_nothing_typed_stands_in_the_clear(north: Site, operator: Person):
    code = begin_draft(north, operator)
    sent = Sent(1, "p", 1, "")
    text = {"narrative": "Mr Peregrine", "patient": {"local_reference": "REF-77"}}
    kept(operator, code, sent, lambda stood: replace(stood.now, document=stood.now.document | text))
    row = Draft.objects.values().get(code=code)
    assert "Peregrine" not in str(row) and "REF-77" not in str(row)
    assert opened_draft(operator, code).text.document["narrative"] == "Mr Peregrine"


def test_only_its_own_person_opens_a_draft(north: Site, operator: Person):
    code = begin_draft(north, operator)
    other = give_role("administrator@example.org", north, Role.ADMINISTRATOR, by=None)
    with pytest.raises(NotFound):
        opened_draft(other, code)
    with pytest.raises(NotFound):
        kept(other, code, Sent(1, "p", 1, ""), doing("keep"))
    with pytest.raises(NotFound):
        discard_draft(other, code)
    assert drafts_of(other) == []
    assert [draft.code for draft in drafts_of(operator)] == [code]


def test_who_may_not_write_at_a_site_begins_no_draft_there(north: Site):
    presenter = give_role("presenter@example.org", north, Role.PRESENTER, by=None)
    with pytest.raises(NotAllowed):
        begin_draft(north, presenter)


def test_a_change_raises_the_version_and_keeps_the_text_before_it(north: Site, operator: Person):
    code = begin_draft(north, operator)
    answer = press(operator, code, "set C1.situation wire_stuck")
    assert (answer.draft.version, answer.draft.layout) == (2, 2)
    assert answer.draft.text.before(1) == {**answer.draft.text.document, "complications": [{"_key": 1}]}


def test_a_keep_that_arrives_after_a_later_one_of_its_page_does_nothing(north: Site, operator: Person):
    code = begin_draft(north, operator)
    kept(operator, code, Sent(1, "p", 2, ""), doing("set C1.situation wire_stuck"))
    late = kept(operator, code, Sent(1, "p", 1, ""), doing("set C1.situation wire_unravelled"))
    assert late.late and late.draft.version == 2
    assert late.draft.text.document["complications"][0]["situation"] == "wire_stuck"


def test_the_same_press_sent_twice_is_done_once(north: Site, operator: Person):
    code = begin_draft(north, operator)
    sent = Sent(1, "p", None, "one-press", "add rung C1 steady_traction")
    kept(operator, code, sent, doing(sent.operation))
    again = kept(operator, code, sent, doing(sent.operation))
    assert again.again
    assert len(again.draft.text.document["complications"][0]["actions"]) == 1


def test_another_page_is_told_of_the_text_that_it_had(north: Site, operator: Person):
    code = begin_draft(north, operator)
    press(operator, code, "set C1.situation wire_stuck", page="first")
    seen: list[Stood] = []

    def edit(stood: Stood) -> DraftText:
        seen.append(stood)
        return stood.now

    answer = kept(operator, code, Sent(1, "second", 1, ""), edit)
    assert seen[0].moved_on and not seen[0].mine
    assert seen[0].base is not None and "situation" not in seen[0].base["complications"][0]
    assert answer.merged and answer.draft.layout == answer.draft.version


def test_a_page_whose_own_answer_was_lost_is_not_asked(north: Site, operator: Person):
    code = begin_draft(north, operator)
    kept(operator, code, Sent(1, "p", 1, ""), doing("set C1.situation wire_stuck"))
    seen: list[Stood] = []

    def edit(stood: Stood) -> DraftText:
        seen.append(stood)
        return stood.now

    kept(operator, code, Sent(1, "p", 2, ""), edit)
    assert seen[0].mine


def test_a_clash_writes_nothing_and_shows_what_stands(north: Site, operator: Person):
    code = begin_draft(north, operator)

    def clashing(stood: Stood) -> DraftText:
        raise Clash(["procedure.date"])

    with pytest.raises(Clash) as clash:
        kept(operator, code, Sent(1, "p", 1, ""), clashing)
    assert clash.value.theirs is not None and clash.value.theirs.version == 1
    assert opened_draft(operator, code).version == 1


def test_a_submitted_draft_is_a_case_and_no_draft_any_more(north: Site, operator: Person):
    code = begin_draft(north, operator)
    press(operator, code, *WHOLE)
    case = submit_draft(operator, code, status="short")
    assert case.state == CaseState.SUBMITTED and case.status == "short"
    assert not Draft.objects.exists()
    assert DataKey.objects.count() == 1
    with pytest.raises(NotFound):
        opened_draft(operator, code)


@pytest.mark.parametrize("amending", [False, True], ids=["a new case", "a change of a case"])
def test_where_the_draft_cannot_go_the_case_is_not_written_either(
    north: Site, operator: Person, monkeypatch: pytest.MonkeyPatch, amending: bool
):
    def failing(row: Draft) -> None:
        raise NotSaved("the disk is full")

    if amending:
        case = submit_case(a_case(a_ladder("wire_stuck: steady_traction=resolved")), by=operator)
        code = begin_amendment(case, operator)
        press(operator, code, "set C1.ending out_in_pieces")
    else:
        code = begin_draft(north, operator)
        press(operator, code, *WHOLE)
    before = list(Case.objects.values_list("code", "version")), DataKey.objects.count()
    with monkeypatch.context() as patched:
        patched.setattr(draft_saving, "remove_draft", failing)
        with pytest.raises(NotSaved, match="the disk is full"):
            submit_draft(operator, code)
    assert (list(Case.objects.values_list("code", "version")), DataKey.objects.count()) == before
    assert opened_draft(operator, code).code == code
    assert submit_draft(operator, code).version == (2 if amending else 1)
    assert not Draft.objects.exists()


def test_what_another_page_kept_at_the_same_moment_is_not_deleted_unseen(
    north: Site, operator: Person, monkeypatch: pytest.MonkeyPatch
):
    code = begin_draft(north, operator)
    press(operator, code, *WHOLE)
    submit = draft_saving.submit_case

    def late(*words: Any, **more: Any) -> Case:
        press(operator, code, "set C1.ending left_in_place", page="other")
        return submit(*words, **more)

    monkeypatch.setattr(draft_saving, "submit_case", late)
    with pytest.raises(NotSaved, match="changed on another page"):
        submit_draft(operator, code)
    assert not Case.objects.exists()
    assert opened_draft(operator, code).text.document["complications"][0]["ending"] == "left_in_place"


def test_an_amendment_that_changes_nothing_is_gone_all_the_same(north: Site, operator: Person):
    case = submit_case(a_case(a_ladder("wire_stuck: steady_traction=resolved")), by=operator)
    code = begin_amendment(case, operator)
    assert submit_draft(operator, code).version == 1
    assert not Draft.objects.exists()


def test_a_refused_draft_stays_and_the_places_are_named(north: Site, operator: Person):
    code = begin_draft(north, operator)
    with pytest.raises(Refused) as refused:
        submit_draft(operator, code, status="short")
    paths = {finding.path for finding in refused.value.findings}
    assert {"complications[0].situation", "complications[0].ending"} <= paths
    assert opened_draft(operator, code).version == 1 and not Case.objects.exists()


def test_text_that_cannot_be_read_is_not_lost_by_submitting(north: Site, operator: Person):
    code = begin_draft(north, operator)
    press(operator, code, *WHOLE)
    typed = {"patient.age": "4x"}
    kept(operator, code, Sent(2, "p", None, ""), lambda stood: replace(stood.now, typed=typed))
    with pytest.raises(NotSaved, match=r"patient\.age"):
        submit_draft(operator, code)
    assert opened_draft(operator, code).text.typed == typed


def test_an_amendment_starts_from_the_case_and_records_the_look(north: Site, operator: Person):
    case = submit_case(a_case(a_ladder("wire_stuck: steady_traction=resolved")), by=operator)
    code = begin_amendment(case, operator)
    assert begin_amendment(case, operator) == code
    assert Look.objects.filter(case=case.code, who=operator.code).count() == 1
    press(operator, code, "set C1.ending out_in_pieces")
    amended = submit_draft(operator, code, reason="Bench check")
    assert (amended.pk, amended.version) == (case.pk, 2)


def moved_on(operator: Person, north: Site) -> tuple[Case, str]:
    """A case with an amendment begun, and changed by somebody else since."""
    document = a_case(a_ladder("wire_stuck: steady_traction=resolved"))
    case = submit_case(document, by=operator)
    code = begin_amendment(case, operator)
    case = amend_case(case, document | {"narrative": "Theirs"}, version=1, reason="", by=operator)
    return case, code


def test_an_amendment_of_a_case_that_moved_on_is_merged_against_the_version_it_started_from(
    north: Site, operator: Person
):
    case, code = moved_on(operator, north)
    seen: list[Behind] = []

    def merge(behind: Behind) -> DraftText:
        seen.append(behind)
        document = behind.now.document | {"narrative": behind.theirs["narrative"]}
        return replace(behind.now, document=document)

    press(operator, code, "set C1.ending out_in_pieces")
    looks = Look.objects.filter(case=case.code).count()
    amended = draft_saving.submit_draft(operator, code, merge=merge, reason="Bench check")
    (behind,) = seen
    assert "narrative" not in behind.base and behind.base["complications"][0]["_key"] == 1
    assert behind.theirs["narrative"] == "Theirs"
    assert behind.now.document["complications"][0]["ending"] == "out_in_pieces"
    document = opened_document(amended)
    assert (amended.version, document["narrative"]) == (3, "Theirs")
    assert Look.objects.filter(case=case.code).count() == looks + 1
    assert not Draft.objects.exists()


def test_a_clash_with_the_case_writes_nothing_and_the_look_stays_recorded(north: Site, operator: Person):
    case, code = moved_on(operator, north)

    def clashing(behind: Behind) -> DraftText:
        raise Clash(["case.narrative"])

    looks = Look.objects.count()
    with pytest.raises(Clash) as clash:
        draft_saving.submit_draft(operator, code, merge=clashing)
    assert clash.value.theirs is not None and clash.value.theirs.code == code
    assert Look.objects.count() == looks + 1
    case.refresh_from_db()
    assert (case.version, opened_draft(operator, code).version) == (2, 1)


def test_a_case_that_was_withdrawn_or_erased_meanwhile_says_so_and_the_draft_stays(
    north: Site, operator: Person
):
    case, code = moved_on(operator, north)
    set_state(case, CaseState.WITHDRAWN, version=2, reason="", by=operator, source="page")
    with pytest.raises(NotSaved, match="withdrawn; bring it back"):
        submit_draft(operator, code)
    Case.objects.filter(pk=case.pk).update(erased=True)
    with pytest.raises(NotSaved, match="erased"):
        submit_draft(operator, code)
    assert opened_draft(operator, code).case == case.code


def test_a_withdrawn_case_is_not_amended(north: Site, operator: Person):
    case = submit_case(a_case(), by=operator)
    case = set_state(case, CaseState.WITHDRAWN, version=1, reason="", by=operator, source="page")
    with pytest.raises(NotSaved, match="withdrawn"):
        begin_amendment(case, operator)


@pytest.mark.django_db(transaction=True)
def test_erasing_a_patient_takes_the_drafts_with_the_same_reference(north: Site, operator: Person):
    submit_case(a_case(patient={"local_reference": "NM 12"}), by=operator)
    code = begin_draft(north, operator)
    patient = {"patient": {"local_reference": "nm12"}}
    kept(
        operator,
        code,
        Sent(1, "p", 1, ""),
        lambda stood: replace(stood.now, document=stood.now.document | patient),
    )
    assert erase_patient("north", "N-1").drafts == 1
    with pytest.raises(NotFound):
        opened_draft(operator, code)


def test_a_discarded_draft_takes_its_key_with_it(north: Site, operator: Person):
    discard_draft(operator, begin_draft(north, operator))
    assert not Draft.objects.exists() and not DataKey.objects.exists()

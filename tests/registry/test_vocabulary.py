"""The word lists: nothing agreed is missing, every term says what it means and who says so, and programs agree."""

from __future__ import annotations

import datetime
import re
from pathlib import Path

import pytest

from registry import case_fields as fields
from registry import vocabulary
from registry.documents import findings
from registry.terms import CLOSED, OTHER, UNKNOWN, Aim, Result, Role
from registry.vocabulary import BrokenVocabulary, word_list, word_lists
from tests.builders import a_case, a_ladder
from tests.registry.agreed_codes import AGREED, TECHNIQUES


@pytest.mark.parametrize("name", AGREED)
def test_every_agreed_code_is_there(name: str) -> None:
    assert set(AGREED[name]) <= set(word_list(name).codes)


@pytest.mark.parametrize("aim", TECHNIQUES)
def test_every_agreed_technique_is_there_and_serves_its_aim(aim: str) -> None:
    techniques = word_list("technique")
    assert [code for code in TECHNIQUES[aim] if aim not in techniques[code].properties["aims"]] == []


def test_every_list_but_that_of_techniques_has_its_agreed_codes() -> None:
    gradings = {
        "grade_udmi4",
        "grade_scai",
        "grade_arc2",
        "grade_arc_stent_thrombosis",
        "grade_kdigo",
        "timi",
    }
    assert set(word_lists()) - set(AGREED) == gradings | {"technique"}


@pytest.mark.parametrize("name", word_lists())
def test_every_term_has_a_label_a_definition_and_a_source(name: str) -> None:
    for code, term in word_list(name).terms.items():
        assert re.fullmatch(r"[A-Za-z0-9_]{1,64}", code)
        assert term.label[0] == term.label[0].upper(), code
        assert len(term.definition) > 10, code
        assert term.source, code


@pytest.mark.parametrize("words", word_lists().values(), ids=lambda words: words.name)
def test_every_list_has_unknown_and_says_what_it_is_for(words: vocabulary.WordList) -> None:
    assert UNKNOWN in words
    assert words.title and words.about


def test_every_list_but_these_has_other() -> None:
    closed = {"result", "account_role", "risk_answer_criterion", "risk_measure", "timi"}
    assert {name for name, words in word_lists().items() if OTHER not in words} == closed


def test_every_technique_has_a_caution_and_an_aim() -> None:
    for code, term in word_list("technique").terms.items():
        if code not in (UNKNOWN, OTHER):
            assert term.caution, code
            assert term.properties["aims"], code
            assert set(term.properties["aims"]) <= set(Aim), code


def test_techniques_name_only_situations_that_there_are() -> None:
    situations = word_list("situation")
    for code, term in word_list("technique").terms.items():
        assert [known for known in term.properties.get("situations", []) if known not in situations] == [], (
            code
        )


def test_only_one_technique_can_be_declined_but_not_done() -> None:
    techniques = word_list("technique").terms.values()
    declined_only = [term.code for term in techniques if term.properties.get("declined_only")]
    assert declined_only == ["any_percutaneous"]
    assert not [
        finding for finding in findings(_with("declined"), datetime.date(2026, 6, 30)) if finding.refused
    ]
    assert [finding for finding in findings(_with("actions"), datetime.date(2026, 6, 30)) if finding.refused]


def _with(what: str) -> dict[str, object]:
    row = {"position": 1} if what == "actions" else {}
    return a_case(a_ladder("wire_stuck:", **{what: [{**row, "technique": "any_percutaneous"}]}))


@pytest.mark.parametrize(("name", "codes"), [("aim", Aim), ("result", Result), ("account_role", Role)])
def test_the_codes_that_programs_branch_on_are_those_of_the_lists(name: str, codes: type[Aim]) -> None:
    assert {code for code in word_list(name).codes if code not in (OTHER, UNKNOWN)} == set(codes) - {UNKNOWN}


def test_closed_is_a_situation() -> None:
    assert CLOSED in word_list("situation")


@pytest.mark.parametrize("name", ["harm_scale", "injury_scale", "event_scale"])
def test_every_scale_has_its_grades(name: str) -> None:
    scales = [code for code in word_list(name).codes if code not in (OTHER, UNKNOWN)]
    assert all(f"grade_{scale}" in word_lists() for scale in scales)


def test_every_list_that_a_field_names_is_there() -> None:
    kinds = [kind.item if isinstance(kind, fields.List) else kind for _, kind in fields.walk()]
    assert {kind.list for kind in kinds if isinstance(kind, fields.Code)} <= set(word_lists())


def test_segments_of_one_dominance_are_marked() -> None:
    """AHA numbering as extended by SYNTAX: 4 and 16, 16a to c with right, 14 branches and 15 with left dominance."""
    marked = {term.code: term.properties.get("dominance") for term in word_list("segment").terms.values()}
    assert marked["4"] == marked["16"] == "right"
    assert marked["15"] == "left"
    assert marked["5"] is None


def test_codes_nearest_to_a_slip_are_offered() -> None:
    assert word_list("technique").nearest("Snare Singel")[0] == "snare_single"
    assert word_list("ending").nearest("zzzzzz") == []


BROKEN = {
    "a code twice": ('[[x.term]]\ncode="a"\nlabel="A"\ndefinition="d"\n' * 2, "has the code a twice"),
    "unknown given": (
        '[[x.term]]\ncode="unknown"\nlabel="A"\ndefinition="d"\n',
        "has the code unknown twice",
    ),
    "no definition": ('[[x.term]]\ncode="a"\nlabel="A"\n', "lacks its definition"),
    "a blank label": ('[[x.term]]\ncode="a"\nlabel=" "\ndefinition="d"\n', "lacks its label"),
    "one label for two codes": (
        '[[x.term]]\ncode="a"\nlabel="A"\ndefinition="d"\n[[x.term]]\ncode="b"\nlabel="A"\ndefinition="d"\n',
        "one label for two codes",
    ),
    "replaced by nothing known": (
        '[[x.term]]\ncode="a"\nlabel="A"\ndefinition="d"\nretired=true\nreplaced_by="zz"\n',
        "replaced by an unknown code",
    ),
}


@pytest.mark.parametrize(("terms", "says"), BROKEN.values(), ids=BROKEN)
def test_a_broken_list_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, terms: str, says: str
) -> None:
    (tmp_path / "x.toml").write_text(f'[x]\ntitle="X"\nabout="what"\nsource="s"\n{terms}', encoding="utf-8")
    monkeypatch.setattr(vocabulary, "_FOLDER", tmp_path)
    with pytest.raises(BrokenVocabulary, match=says):
        word_lists.__wrapped__()


def test_a_term_without_any_source_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = '[x]\ntitle="X"\n[[x.term]]\ncode="a"\nlabel="A"\ndefinition="d"\n'
    (tmp_path / "x.toml").write_text(text, encoding="utf-8")
    monkeypatch.setattr(vocabulary, "_FOLDER", tmp_path)
    with pytest.raises(BrokenVocabulary, match="a has no source"):
        word_lists.__wrapped__()


def test_a_retired_term_is_kept_and_no_longer_offered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    terms = "".join(
        f'[[x.term]]\ncode="{code}"\nlabel="A"\ndefinition="d"\n{more}\n'
        for code, more in (("old_word", 'retired=true\nreplaced_by="old_words"'), ("old_words", ""))
    )
    (tmp_path / "x.toml").write_text(f'[x]\ntitle="X"\nsource="s"\n{terms}', encoding="utf-8")
    monkeypatch.setattr(vocabulary, "_FOLDER", tmp_path)
    words = word_lists.__wrapped__()["x"]
    assert "old_word" in words
    assert words.nearest("old_word") == ["old_words"]

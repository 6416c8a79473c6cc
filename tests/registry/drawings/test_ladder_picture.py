"""The ladder as a picture and in words: everything that was recorded is in both, nothing in it can do harm."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.drawings.ladder_picture import NARROW, WIDE, ladder_picture
from registry.drawings.ladder_words import ladder_in_words
from registry.ladder import ladder_of
from registry.vocabulary import word_list
from tests.builders import Document, a_ladder
from tests.registry.drawings.reading import SVG, case, holds_under_a_strict_policy, lines, parsed, words_of
from tests.strategies import case_documents

CASES = [*(f"s{number}" for number in range(1, 9)), "every_property", "minimum"]
WIDTHS = [WIDE, NARROW]


def in_case(complication: Document, **more: object) -> Document:
    return {"complications": [complication], **more}


def drawn(complication: Document, width: int = WIDE, **more: object) -> str:
    return ladder_picture(complication, in_case(complication, **more), width=width)


def told(complication: Document, **more: object) -> str:
    return " ".join(ladder_in_words(complication, in_case(complication, **more)))


def labels(complication: Document, document: Document) -> Iterator[str]:
    """Every label of the vocabulary that the picture of a complication must hold."""
    ladder = ladder_of(complication)
    codes = [("situation", complication["situation"]), ("ending", complication["ending"])]
    for action in complication.get("actions") or []:
        codes += [(name, action.get(name)) for name in ("technique", "aim", "result")]
        codes += [("device_class", device.get("class")) for device in action.get("devices") or []]
        codes += [("technique", adjunct) for adjunct in action.get("adjuncts") or []]
        if action.get("treats"):
            codes.remove(("aim", action.get("aim")))
    codes += [("situation", rung.situation_after) for rung in ladder.rungs[:-1]]
    for option in ladder.declined:
        codes += [("technique", option.technique), ("decline_reason", option.reason)]
    for injury in document.get("injuries") or []:
        if injury.get("caused_by") is not None and injury.get("caused_by") == complication.get("ref"):
            codes += [("injury_kind", injury.get("kind"))]
            codes += [(f"grade_{injury['scale']}", injury["grade"])] if injury.get("grade") else []
    for name, code in codes:
        if code not in (None, "other", "unknown"):
            yield word_list(name)[code].label


def letters_of(text: str) -> set[str]:
    """The words of a text without regard to order, case and signs, since labels are turned to fit a sentence."""
    return set(re.findall(r"[\w'-]+", text.lower()))


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", CASES)
def test_everything_recorded_stands_in_the_picture_and_in_the_words(name, width):
    document = case(name)
    for complication in document["complications"]:
        picture = ladder_picture(complication, document, width=width)
        words = " ".join(ladder_in_words(complication, document))
        for label in labels(complication, document):
            assert letters_of(label) <= letters_of(words_of(picture)), label
            assert letters_of(label) <= letters_of(words), label


@pytest.mark.parametrize("name", CASES)
def test_every_rung_and_every_declined_option_is_drawn_once(name):
    document = case(name)
    for complication in document["complications"]:
        picture, ladder = ladder_picture(complication, document), ladder_of(complication)
        numbers = [line for line in lines(picture) if line.isdecimal()]
        assert numbers == [str(rung.position) for rung in ladder.rungs]
        assert picture.count('class="lp-stub"') == len(ladder.declined)
        assert [picture.count(f"lp-rung-{rung.result}") > 0 for rung in ladder.rungs] == [True] * len(
            ladder.rungs
        )


@pytest.mark.parametrize("width", WIDTHS)
@given(document=case_documents())
def test_any_case_is_well_formed_and_holds_under_a_strict_policy(document, width):
    for complication in document["complications"]:
        assert holds_under_a_strict_policy(ladder_picture(complication, document, width=width))


@given(
    text=st.text(max_size=40)
    | st.sampled_from(['"><script>alert(1)</script>', "]]>&<", "' onload='x", "\x00\x1b"])
)
def test_a_hostile_model_name_is_only_text(text):
    complication = a_ladder("wire_stuck: snare_single")
    complication["actions"][0]["devices"] = [{"class": "snare_single_loop", "model": "M"}]
    picture = ladder_picture(complication, in_case(complication), names={"M": text})
    assert holds_under_a_strict_policy(picture)
    plain = {node.tag for node in parsed(drawn(complication)).iter()}
    assert {node.tag for node in parsed(picture).iter()} <= plain | {f"{SVG}tspan"}


def test_a_model_stands_by_its_name_and_without_one_by_its_code():
    document = case("s3")
    complication = document["complications"][0]
    named = words_of(ladder_picture(complication, document, names={"MAR-B1": "Maren B1"}))
    assert "semi-compliant balloon Maren B1, 1.25\u00a0×\u00a010\u00a0mm" in named
    assert "balloon MAR-B1" in words_of(ladder_picture(complication, document))


@pytest.mark.parametrize("name", CASES)
def test_notes_are_never_drawn(name):
    document = case(name)
    for complication in document["complications"]:
        picture = ladder_picture(complication, document)
        for thing in [*(complication.get("actions") or []), *(complication.get("declined") or [])]:
            assert not thing.get("note") or thing["note"] not in words_of(picture)


def test_missing_acts_are_said_and_the_rails_are_broken():
    said = {
        None: "What was tried is not recorded.",
        "some": "Some acts are missing from this record.",
        "none": "What was tried is not known.",
        "unknown": "Whether these are all the acts is not known.",
    }
    for known, words in said.items():
        complication = a_ladder("wire_stuck:", actions=None, actions_known=known)
        assert words in words_of(drawn(complication))
        assert words in told(complication)
        assert "lp-rail-broken" in drawn(complication)


def test_no_act_at_all_is_told_apart_from_acts_not_recorded():
    complication = a_ladder("wire_stuck:", ending="left_in_place")
    assert "Nothing was tried." in words_of(drawn(complication))
    assert "lp-rail-broken" not in drawn(complication)


def test_not_known_and_not_recorded_are_told_apart():
    told_of = told(a_ladder("wire_stuck: unknown/unknown=unknown, -"))
    assert "Technique not known, aim not known; result not known." in told_of
    assert "Technique not recorded, aim not recorded; result not recorded." in told_of


def test_a_ladder_of_a_hundred_acts_is_drawn_whole():
    line = "wire_stuck: " + ", ".join(["steady_traction=unchanged", "vasodilator=unchanged"] * 50)
    picture = drawn(a_ladder(line))
    assert [line for line in lines(picture) if line.isdecimal()] == [str(number) for number in range(1, 101)]


def test_tries_of_one_attempt_are_counted_where_they_stand():
    complication = a_ladder(
        "wire_stuck: steady_traction=unchanged, angiography=done, steady_traction=unchanged"
    )
    words = told(complication)
    assert "try 1 of 2" in words and "try 2 of 2" in words and "1 attempt" in words


def test_a_situation_made_worse_has_its_own_ground_and_is_said():
    complication = a_ladder("wire_stuck: steady_traction=worse>wire_unravelled")
    assert 'class="lp-band lp-band-worse"' in drawn(complication)
    assert "The situation is now, and worse: Wire unravelled; situation changed after rung 1." in told(
        complication
    )


def test_what_was_closed_and_found_open_is_said_to_have_opened_again():
    complication = a_ladder("stent_deformed: snare_single=resolved, ct_scan=done>wire_fragment_embolised")
    assert "opened again after rung 2" in told(complication)
    assert "opened again after rung 2" in words_of(drawn(complication))


def test_an_injury_noticed_in_a_look_stands_at_the_act_before_it():
    """R9: a dissection seen by angiography belongs to the pull before."""
    complication = a_ladder("wire_stuck: steady_traction=unchanged, angiography=done", ref="C1")
    injury = {"ref": "I1", "kind": "dissection", "caused_by": "C1", "after_position": 2, "controlled": "no"}
    sentences = ladder_in_words(complication, in_case(complication, injuries=[injury]))
    assert "Injury: Coronary dissection, not controlled." in sentences[1]


def test_an_injury_without_a_cause_stands_in_the_first_picture_only():
    first, second = a_ladder("wire_stuck:", ref="C1"), a_ladder("stent_deformed:", ref="C2")
    document = {"complications": [first, second], "injuries": [{"ref": "I1", "kind": "shock"}]}
    assert "Shock" in words_of(ladder_picture(first, document))
    assert "Shock" not in words_of(ladder_picture(second, document))


def test_a_complication_says_from_which_rung_of_which_it_led_on():
    document = case("s1")
    first, second = document["complications"]
    assert "led on from C1 after rung 6" in words_of(ladder_picture(second, document))
    assert "led on to C2: stent deformed" in words_of(ladder_picture(first, document))


def test_the_rails_stay_open_where_the_end_is_not_known():
    assert "lp-rail-broken" in drawn(a_ladder("wire_stuck: vasodilator=unchanged", ending="transferred_open"))
    assert "lp-rail-broken" not in drawn(
        a_ladder("wire_stuck: vasodilator=unchanged", ending="left_in_place")
    )


@pytest.mark.parametrize("width", [299, 0, -1])
def test_a_width_at_which_nothing_can_be_read_is_refused(width):
    with pytest.raises(ValueError, match="too narrow for a ladder; 300 px at least"):
        drawn(a_ladder("wire_stuck:"), width)


def test_the_picture_has_a_title_and_a_description_of_its_own():
    document = case("s3")
    picture = parsed(ladder_picture(document["complications"][0], document, name="first"))
    assert picture.get("role") == "img"
    assert picture.get("aria-labelledby") == "first-title first-description"
    assert [node.get("id") for node in picture[:2]] == ["first-title", "first-description"]
    assert "Rung 5, 21 min: Crush with another stent" in (picture[1].text or "")

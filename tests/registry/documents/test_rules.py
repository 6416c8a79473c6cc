"""Rules that join several fields of a document: what is refused, what is asked about, what passes."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from registry import case_fields as fields
from registry.documents import findings
from registry.vocabulary import word_list
from tests.builders import TODAY, Document, a_case, a_ladder, changed, questions_of, refusals_of

FIRST = "complications[0]"


def refused(document: Document) -> list[tuple[str, Any]]:
    """Paths and values of what is refused."""
    return [(finding.path, finding.value) for finding in refusals_of(document)]


def asked(document: Document) -> list[tuple[str, Any]]:
    """Paths and values of what is asked about; nothing may be refused."""
    return [(finding.path, finding.value) for finding in questions_of(document)]


def line(document: Document) -> str:
    """The one finding of a document, as it is printed."""
    (found,) = findings(document, TODAY)
    return str(found)


def test_the_least_that_a_document_needs_passes_without_a_word() -> None:
    assert not findings(a_case(), TODAY)


# References

REFERENCES = [
    (f"{FIRST}.lesion", "lesion"),
    (f"{FIRST}.caused_by", "complication"),
    (f"{FIRST}.actions[0].treats", "injury"),
    (f"{FIRST}.declined[0].treats", "injury"),
    ("injuries[0].caused_by", "complication"),
]


@pytest.fixture
def named() -> Document:
    """A case whose lesions, complications and injuries have refs."""
    first = a_ladder("wire_stuck: drain_pericardium=resolved", ref="C1", declined=[{}])
    return a_case(
        first,
        a_ladder("wire_stuck:", ref="C2"),
        lesions=[{"ref": "L1"}],
        injuries=[{"ref": "I1"}, {"ref": "I2"}],
    )


@pytest.mark.parametrize(("path", "to"), REFERENCES)
def test_a_reference_to_what_is_not_there_is_refused(named: Document, path: str, to: str) -> None:
    known = {"lesion": "L1", "complication": "C1, C2", "injury": "I1, I2"}[to]
    field = path.rsplit(".", 1)[1]
    assert line(changed(named, path, "X9")) == (
        f'$.{path}: field {field}, value "X9": there is no {to} with this ref; allowed: {known}'
    )


@pytest.mark.parametrize(("path", "to"), REFERENCES)
def test_a_reference_to_what_is_there_passes(named: Document, path: str, to: str) -> None:
    ref = {"lesion": "L1", "complication": "C2", "injury": "I2"}[to]
    assert not findings(changed(named, path, ref), TODAY)


def test_every_kind_of_reference_is_tried_above() -> None:
    paths = {path for path, kind in fields.walk() if isinstance(kind, fields.Reference)}
    assert {path.replace("[0]", "[]") for path, _ in REFERENCES} == paths


def test_of_very_many_refs_a_few_are_offered_and_of_very_many_errors_the_first_hundred_told() -> None:
    ladder = a_ladder("wire_stuck:", declined=[{"treats": "X9"}] * 5_000)
    found = findings(a_case(ladder, injuries=[{"ref": f"I{number}"} for number in range(5_000)]), TODAY)
    assert len(found) == 101
    assert found[0].allowed == "I0, I1, I2, I3, I4, I5, I6, I7, I8, I9, I10, I11 and 4988 more"
    assert str(found[-1]) == "more than 100 values are wrong; the rest is not listed"


def test_very_many_questions_hide_no_refusal() -> None:
    seconds = [1] * 5_000
    document = a_case(procedure={"date": "2026", "act_seconds": seconds}, follow_up=[{"date": "2027"}])
    found = findings(document, TODAY)
    assert [finding.path for finding in found if finding.refused] == ["follow_up[0].date"]
    assert str(found[-1]) == "more than 100 values to ask about; the rest is not listed"
    assert len(found) == 102


@pytest.mark.parametrize("path", ["lesions[1]", "complications[1]", "injuries[1]"])
def test_two_things_of_one_kind_with_the_same_ref_are_refused(named: Document, path: str) -> None:
    kind = path.split("[", maxsplit=1)[0]
    document = changed(named, "lesions", [{"ref": "L1"}, {}])
    ref = document[kind][0]["ref"]
    assert (kind, ref) in refused(changed(document, f"{path}.ref", ref))


def test_two_fragments_of_a_complication_with_the_same_ref_are_refused() -> None:
    pieces = [{"ref": "F1"}, {"ref": "F1"}]
    assert refused(a_case(a_ladder("wire_stuck:", fragments=pieces))) == [(f"{FIRST}.fragments", "F1")]
    each = [a_ladder("wire_stuck:", fragments=pieces[:1]) for _ in range(2)]
    assert not refused(a_case(*each))


def test_a_lesion_and_a_complication_may_have_the_same_ref() -> None:
    assert not findings(a_case(a_ladder("wire_stuck:", ref="1", lesion="1"), lesions=[{"ref": "1"}]), TODAY)


@pytest.mark.parametrize(
    ("causes", "in_a_circle"),
    [
        (["C1", None, None], [0]),
        (["C2", "C1", None], [0, 1]),
        (["C2", "C3", "C1"], [0, 1, 2]),
        (["C2", "C2", None], [1]),
        ([None, "C1", "C1"], []),
        (["C2", "C3", None], []),
    ],
)
def test_a_circle_of_causes_is_refused_at_each_of_its_members(
    causes: list[str | None], in_a_circle: list[int]
) -> None:
    complications = [
        a_ladder("wire_stuck:", ref=f"C{number}", caused_by=cause)
        for number, cause in enumerate(causes, start=1)
    ]
    document = a_case(*complications)
    assert refused(document) == [
        (f"complications[{number}].caused_by", causes[number]) for number in in_a_circle
    ]


# Positions


@pytest.mark.parametrize(
    ("positions", "says"),
    [
        ([1, 1], "the position 1 stands twice; positions are 1 to 2, each once"),
        ([1, 3], "there is no position 2; positions are 1 to 2, without a gap"),
    ],
)
def test_positions_doubled_or_with_a_gap_are_refused(positions: list[int], says: str) -> None:
    document = a_case(a_ladder("wire_stuck:", actions=[{"position": position} for position in positions]))
    assert line(document) == f"$.{FIRST}.actions: field actions, value {positions}: actions: {says}".replace(
        f"{positions}", str(positions).replace(" ", "")
    )


def test_positions_may_stand_in_any_order() -> None:
    actions = [{"position": position} for position in (3, 1, 2)]
    assert not findings(a_case(a_ladder("wire_stuck:", actions=actions)), TODAY)


def test_what_the_ladder_refuses_is_told_with_its_place_in_the_document() -> None:
    ladder = a_ladder("wire_stuck: steady_traction=resolved, snare_single=unchanged")
    document = a_case(a_ladder("wire_stuck:"), ladder)
    assert refused(document) == [("complications[1].actions[1].aim", "retrieve")]


def _with_after(holder: str, after: int, actions: int | None) -> Document:
    """A case in which a decline, an injury or a second complication names a position of the first complication."""
    rungs = None if actions is None else [{"position": number + 1} for number in range(actions)]
    first = a_ladder("wire_stuck:", ref="C1", actions=rungs)
    consequence = {"caused_by": "C1", "after_position": after}
    match holder:
        case "decline":
            return a_case(first | {"declined": [{"after_position": after}]})
        case "injury":
            return a_case(first, injuries=[consequence])
    return a_case(first, a_ladder("wire_stuck:", **consequence))


@pytest.mark.parametrize("holder", ["decline", "injury", "complication"])
@pytest.mark.parametrize(("actions", "highest"), [(None, 0), (0, 0), (2, 2)])
def test_after_position_is_0_to_the_number_of_actions(holder: str, actions: int | None, highest: int) -> None:
    for after in range(highest + 1):
        assert not refused(_with_after(holder, after, actions))
    (finding,) = refusals_of(_with_after(holder, highest + 1, actions))
    assert finding.path.endswith(".after_position")
    assert (finding.value, finding.allowed) == (highest + 1, f"0 to {highest}, or leave it out")


def test_a_position_without_the_complication_it_counts_in_is_asked_about() -> None:
    assert asked(a_case(injuries=[{"after_position": 3}])) == [("injuries[0].after_position", 3)]
    assert asked(a_case(a_ladder("wire_stuck:", after_position=0))) == [(f"{FIRST}.after_position", 0)]


# Anatomy and sizes

SEGMENT_PATHS = [
    ("lesions", [{"segments": ["{}"]}], "lesions[0].segments[0]"),
    ("lesions", [{"graft": {"recipient_segment": "{}"}}], "lesions[0].graft.recipient_segment"),
    (f"{FIRST}.segments", ["1", "{}"], f"{FIRST}.segments[1]"),
    (f"{FIRST}.fragments", [{"segments": ["{}"], "state": "out"}], f"{FIRST}.fragments[0].segments[0]"),
    ("injuries", [{"segments": ["{}"]}], "injuries[0].segments[0]"),
    ("outcome", {"flow": [{"segment": "{}"}]}, "outcome.flow[0].segment"),
]


def _filled(value: Any, segment: str) -> Any:
    if isinstance(value, dict):
        return {key: _filled(inner, segment) for key, inner in value.items()}
    if isinstance(value, list):
        return [_filled(item, segment) for item in value]
    return value.format(segment)


@pytest.mark.parametrize(("place", "value", "path"), SEGMENT_PATHS)
@pytest.mark.parametrize(("segment", "dominance"), [("4", "left"), ("16", "left"), ("15", "right")])
def test_a_segment_of_the_other_dominance_is_refused(
    place: str, value: Any, path: str, segment: str, dominance: str
) -> None:
    """AHA numbering as extended by SYNTAX: 4 and 16 with right, 15 with left dominance only."""
    document = changed(
        a_case(procedure={"date": "2026-03", "dominance": dominance}), place, _filled(value, segment)
    )
    assert refused(document) == [(path, segment)]


@pytest.mark.parametrize("dominance", [None, "unknown", "co_dominant", "other"])
@pytest.mark.parametrize("segment", ["4", "15"])
def test_any_segment_passes_where_the_dominance_is_not_one_sided(segment: str, dominance: str | None) -> None:
    procedure = {"date": "2026-03", "dominance": dominance, "note": "two small ones"}
    assert not findings(a_case(procedure=procedure, lesions=[{"segments": [segment]}]), TODAY)


SIZES = [
    ("guidewire", "diameter_mm", "0.97", "0.98"),
    ("guidewire", "diameter_mm", "0.15", "0.149"),
    ("balloon_semi_compliant", "length_mm", "80", "80.001"),
    ("stent_drug_eluting", "diameter_mm", "1.5", "1.499"),
    ("microcatheter_single", "size_f", "4", "4.1"),
    ("rotational_burr", "diameter_mm", "3", "3.1"),
]


@pytest.mark.parametrize(("kind", "measure", "good", "bad"), SIZES)
def test_an_impossible_size_is_refused_for_the_failed_device(
    kind: str, measure: str, good: str, bad: str
) -> None:
    def of(size: str) -> Document:
        return a_case(a_ladder("device_stuck:", device={"class": kind, measure: Decimal(size)}))

    assert not refused(of(good))
    assert refused(of(bad)) == [(f"{FIRST}.device.{measure}", Decimal(bad))]


@pytest.mark.parametrize(("kind", "measure", "good", "bad"), SIZES)
def test_an_impossible_size_of_any_other_device_is_asked_about(
    kind: str, measure: str, good: str, bad: str
) -> None:
    device = {"class": kind, measure: Decimal(bad)}
    document = a_case(
        a_ladder("device_stuck:", other_devices=[device], actions=[{"position": 1, "devices": [device]}]),
        lesions=[{"contents": [{"device": device}]}],
    )
    assert {path for path, _ in asked(document)} == {
        f"{FIRST}.other_devices[0].{measure}",
        f"{FIRST}.actions[0].devices[0].{measure}",
        f"lesions[0].contents[0].device.{measure}",
    }


@pytest.mark.parametrize("kind", ["unknown", "other", "coil", "pressure_microcatheter"])
def test_a_class_without_limits_has_any_size(kind: str) -> None:
    device = {"class": kind, "diameter_mm": 99, "note": "what it was"}
    assert not findings(a_case(a_ladder("device_stuck:", device=device)), TODAY)


def test_an_unusual_size_is_asked_about() -> None:
    device = {"class": "balloon_semi_compliant", "diameter_mm": 6, "length_mm": 30}
    assert asked(a_case(a_ladder("balloon_stuck:", device=device))) == [(f"{FIRST}.device.diameter_mm", 6)]


def test_every_class_keeps_its_usual_sizes_within_its_hard_ones() -> None:
    for term in word_list("device_class").terms.values():
        for measure, (low, high) in term.properties.get("usual", {}).items():
            hardest = term.properties.get("hard", {}).get(measure, (low, high))
            assert hardest[0] <= low <= high <= hardest[1], (term.code, measure)


@pytest.mark.parametrize(
    ("path", "usual", "unusual"),
    [
        ("patient.age", 18, 17),
        ("patient.risk.weight_kg", 70, Decimal("34.9")),
        ("procedure.contrast_ml", 800, Decimal("800.1")),
        ("procedure.act_seconds", [80, 600], [80, 601]),
    ],
)
def test_an_unusual_number_is_asked_about(path: str, usual: Any, unusual: Any) -> None:
    assert not findings(changed(a_case(), path, usual), TODAY)
    assert len(asked(changed(a_case(), path, unusual))) == 1


# Outcome


@pytest.mark.parametrize("name", ["death", "surgery"])
@pytest.mark.parametrize("value", [{}, {"day": None}, {"day": None, "note": None}])
def test_an_empty_death_or_surgery_is_refused(name: str, value: Document) -> None:
    document = a_case(outcome={name: value})
    assert refused(document) == [(f"outcome.{name}", value)]
    assert refusals_of(document)[0].allowed == 'write "unknown" in it, or leave it out'


@pytest.mark.parametrize("value", [{"day": "unknown"}, {"note": "from a letter"}])
@pytest.mark.parametrize("name", ["death", "surgery"])
def test_a_death_or_surgery_of_which_nothing_is_known_is_said_with_unknown(
    name: str, value: Document
) -> None:
    assert not findings(a_case(outcome={name: value}), TODAY)


def test_alive_at_discharge_after_a_death_in_the_laboratory_is_asked_about() -> None:
    document = a_case(
        a_ladder("burr_stuck:", ending="died_before_end"), outcome={"status_at_discharge": "alive"}
    )
    assert asked(document) == [("outcome.status_at_discharge", "alive")]
    assert not findings(changed(document, "outcome.status_at_discharge", "dead"), TODAY)

"""The simulation of signals over invented registries, in short: three seeds here, twenty in the soak."""

from __future__ import annotations

from analytics.answers_signals import SignalRule
from fixtures.world import read_world
from tests.soak.signals import measured, watched


def test_the_planted_rise_is_signalled_and_little_else() -> None:
    found = measured(range(1, 4))
    assert found["wrong"] == []
    assert found["signalled"] == 3


def test_the_same_seed_gives_the_same_signals() -> None:
    first, again = watched(2), watched(2)
    assert first == again
    assert {one.chart.subject for one in first if one.chart.rule != SignalRule.CLASS_SUM} <= {
        model.code for model in read_world().models
    }

"""What the statements about limits draw their counts and confidences from; it checks nothing itself."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

any_confidence = st.floats(0, 1, exclude_min=True, exclude_max=True)
usual_confidence = st.floats(0.5, 0.999)


@st.composite
def proportions(draw: Any, most: int = 10**6) -> tuple[int, int]:
    """Successes and trials, at least one trial."""
    trials = draw(st.integers(1, most))
    return draw(st.integers(0, trials)), trials

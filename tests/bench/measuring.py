"""Timing two ways of doing the same thing, turn by turn, and what is said about it."""

from __future__ import annotations

import gc
import os
import statistics
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path


@dataclass(frozen=True)
class Measured:
    """One ratio: the product's time over the floor's, of the same rounds."""

    id: str
    engine: str
    size: int
    ratio: float
    target: float | None
    detail: str

    def as_row(self) -> dict[str, object]:
        """As it stands in the JSON file."""
        return asdict(self)


def _timed(work: Callable[[], object]) -> float:
    gc.collect()
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


UNSTEADY = 1.5
"""Where the floor's own times lie further apart than so many medians, all is measured once more."""


def side_by_side(
    product: Callable[[], object],
    floor: Callable[[], object],
    *,
    rounds: int = 9,
    free: float = 0,
    again: bool = True,
) -> tuple[float, str]:
    """The median of the rounds' ratios after one warm-up, and the figures in words; `free` seconds do not count.

    `again` is whether an unsteady floor is measured once more: not where each turn uses something up.
    """
    product(), floor()
    ours, theirs = [], []
    for _ in range(rounds):
        ours.append(_timed(product))
        theirs.append(_timed(floor))
    if again and max(theirs) - min(theirs) > UNSTEADY * statistics.median(theirs):
        return side_by_side(product, floor, rounds=rounds, free=free, again=False)
    ratio = statistics.median((mine - free) / other for mine, other in zip(ours, theirs, strict=True))
    return ratio, (
        f"product {_milliseconds(ours)}, floor {_milliseconds(theirs)}, {rounds} rounds, "
        f"load {os.getloadavg()[0]:.1f}"
    )


def milliseconds(work: Callable[[], object], rounds: int) -> float:
    """The median of so many turns, after one to warm up."""
    work()
    return 1000 * statistics.median(_timed(work) for _ in range(rounds))


def _milliseconds(times: list[float]) -> str:
    thousandths = [1000 * one for one in times]
    return f"{statistics.median(thousandths):.2f} ms ({min(thousandths):.2f}-{max(thousandths):.2f})"


def peak_megabytes() -> float:
    """What this process held at the most; `getrusage` would count the process that started it as well."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    (kilobytes,) = (line.split()[1] for line in lines if line.startswith("VmHWM:"))
    return int(kilobytes) / 1024


def forget_the_peak() -> None:
    """From now on the peak is that of what comes."""
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")

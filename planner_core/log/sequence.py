"""The sequence on a card: its interval, and what breaks it: gaps, duplicates, foreign and truncated files.

A frame is regular when it comes a whole number of intervals after the one before. Limits are common
practice, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from planner_core.log.card import Taken

Array = NDArray[np.float64]

OFF_INTERVAL = 0.3  # of the interval: what is farther from its place is late, or none of the sequence
FEWEST = 3
APART = 30.0  # intervals between two sequences
SECOND_STEP_S = 1.0 / np.sqrt(12.0)  # scatter of a clock that is written in whole seconds


@frozen(kw_only=True)
class Fault:
    """Something about the sequence: kind is dropped, doubled, late, stranger, cut-off or turned.

    frames is (first, last) as the sequence counts them from 1, None for a stranger; files names those
    concerned; seconds is by how much a frame was late.
    """

    kind: str
    frames: tuple[int, int] | None
    files: tuple[str, ...] = ()
    seconds: float = 0.0


@frozen(kw_only=True, eq=False)
class ShotSequence:
    """The frames at regular intervals: number (n,) from 1, each file once, and the line their clock follows.

    start_s is the time of the first frame on the camera's clock; interval_s and its deviation come from all
    frames; jitter_s is their scatter about the line, clock_step_s what a clock written in whole seconds adds
    to it.
    """

    frames: tuple[Taken, ...]
    number: NDArray[np.intp]
    start_s: float
    interval_s: float
    interval_deviation_s: float
    jitter_s: float
    clock_step_s: float
    faults: tuple[Fault, ...] = field(factory=tuple)

    @property
    def count(self) -> int:
        """How many frames there should be, from the first to the last."""
        return int(self.number[-1]) if len(self.number) else 0


def find_sequence(card: Sequence[Taken], interval_s: float) -> ShotSequence | None:
    """The longest sequence on a card, near an interval that the plan names; None where there is none."""
    timed = sorted((one for one in card if one.clock_s is not None), key=lambda one: (one.clock_s, one.name))
    strangers = [one for one in card if one.clock_s is None]
    camera = Counter(one.camera for one in timed).most_common(1)[0][0] if timed else ""
    strangers += [one for one in timed if one.camera != camera]
    mine = [one for one in timed if one.camera == camera]
    if len(mine) < FEWEST:
        return None
    measured_s = _measured_interval_s(np.array([one.clock_s for one in mine]), interval_s)
    longest, others = _longest(mine, measured_s)
    kept, numbers, faults, off = _walk(longest, measured_s)
    if len(kept) < FEWEST:
        return None
    strangers += others + off
    number = np.array(numbers, dtype=np.intp)
    whole_seconds = not any(one.has_fraction for one in kept)
    # a clock that shows whole seconds is half a second behind on average
    clock = np.array([one.clock_s for one in kept]) + (0.5 if whole_seconds else 0.0)
    start, interval, deviation, jitter = _line(number, clock, faults)
    faults += [
        Fault(kind="stranger", frames=None, files=(one.name,))
        for one in strangers
        if one.problem != "cut off"
    ]
    faults += [
        Fault(kind="cut-off", frames=None, files=(one.name,)) for one in strangers if one.problem == "cut off"
    ]
    faults += list(_of_files(kept, numbers))
    whole_seconds = not any(one.has_fraction for one in kept)
    return ShotSequence(
        frames=tuple(kept),
        number=number,
        start_s=start,
        interval_s=interval,
        interval_deviation_s=deviation,
        jitter_s=jitter,
        clock_step_s=float(SECOND_STEP_S) if whole_seconds else 0.0,
        faults=tuple(sorted(faults, key=lambda fault: (fault.frames or (10**9, 0), fault.kind, fault.files))),
    )


def _measured_interval_s(clock: Array, planned_s: float) -> float:
    """The interval that most frames keep: near the plan's where enough do, else the middle of all."""
    gaps = np.diff(clock)
    gaps = gaps[gaps > 0.05]
    near = gaps[np.abs(gaps - planned_s) < 0.5 * planned_s]
    chosen = near if len(near) >= 0.3 * len(gaps) else gaps
    if not len(chosen):
        return planned_s
    middle = float(np.median(chosen))
    close = chosen[np.abs(chosen - middle) < OFF_INTERVAL * middle]
    return float(close.mean()) if len(close) else middle


def _longest(frames: list[Taken], measured_s: float) -> tuple[list[Taken], list[Taken]]:
    """The longest run without a long pause, and all else."""
    runs: list[list[Taken]] = [[]]
    for one in frames:
        if runs[-1] and _clock(one) - _clock(runs[-1][-1]) > APART * measured_s:
            runs.append([])
        runs[-1].append(one)
    longest = max(runs, key=len)
    return longest, [one for run in runs if run is not longest for one in run]


def _clock(one: Taken) -> float:
    assert one.clock_s is not None
    return one.clock_s


def _walk(frames: list[Taken], measured_s: float) -> tuple[list[Taken], list[int], list[Fault], list[Taken]]:
    """Frame by frame: what is regular, with its number, what is missing or irregular, and what is foreign."""
    slack = OFF_INTERVAL + 0.5 / measured_s  # a clock in whole seconds is half a second off either way
    kept, numbers, faults, off = [frames[0]], [1], [], []
    for index, one in enumerate(frames[1:], start=1):
        since = (_clock(one) - _clock(kept[-1])) / measured_s
        steps = round(since)
        if steps >= 1 and abs(since - steps) <= slack:
            if steps > 1:
                faults.append(Fault(kind="dropped", frames=(numbers[-1] + 1, numbers[-1] + steps - 1)))
        elif since < slack:
            faults.append(
                Fault(kind="doubled", frames=(numbers[-1], numbers[-1]), files=(kept[-1].name, one.name))
            )
            continue
        elif _keeps_on(frames, index, measured_s, slack):
            steps = max(int(since), 1)
            late = (since - steps) * measured_s
            faults.append(
                Fault(kind="late", frames=(numbers[-1] + steps,) * 2, files=(one.name,), seconds=late)
            )
        else:
            off.append(one)
            continue
        kept.append(one)
        numbers.append(numbers[-1] + steps)
    return kept, numbers, faults, off


def _keeps_on(frames: list[Taken], index: int, measured_s: float, slack: float) -> bool:
    """Whether the next frames come whole intervals after an odd one: then the sequence goes on from it."""
    following = frames[index + 1 : index + 4]
    if not following:
        return False
    since = np.array([(_clock(other) - _clock(frames[index])) / measured_s for other in following])
    return bool(np.all(np.abs(since - np.round(since)) <= slack) and np.all(since > 0.5))


def _line(number: NDArray[np.intp], clock: Array, faults: list[Fault]) -> tuple[float, float, float, float]:
    """Start, interval, the interval's deviation and the scatter of the clock about them."""
    shift = np.zeros(len(clock))
    for fault in faults:
        if fault.kind == "late" and fault.frames is not None:
            shift[number >= fault.frames[0]] += fault.seconds
    count = number - 1.0
    slope, start = np.polyfit(count, clock - shift - clock[0], 1)
    scatter = clock - shift - clock[0] - start - slope * count
    jitter = float(np.sqrt(np.sum(scatter**2) / max(len(clock) - 2, 1)))
    spread = float(np.sqrt(np.sum((count - count.mean()) ** 2)))
    return float(clock[0] + start), float(slope), jitter / max(spread, 1e-9), jitter


def _of_files(kept: list[Taken], numbers: list[int]) -> Iterator[Fault]:
    """What is wrong with single files of the sequence: cut off, or turned unlike the rest."""
    usual = Counter(one.orientation for one in kept).most_common(1)[0][0]
    for one, number in zip(kept, numbers, strict=True):
        if one.problem == "cut off":
            yield Fault(kind="cut-off", frames=(number, number), files=(one.name,))
        if one.orientation != usual:
            yield Fault(kind="turned", frames=(number, number), files=(one.name,))

"""The evening's places from above, north up and to scale, with the ways between them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from planner_core.fit.evening import Evening, Round
from planner_core.output.evening.lists import kept_shots
from planner_core.output.evening.rows import metres_text
from planner_core.output.sheet.draw import Canvas, round_step, text_width
from planner_core.words.durations import minutes_text

Array = NDArray[np.float64]

WIDTH, LOWEST, TALLEST = 188.0, 46.0, 105.0
MARGIN_MM, FONT = 16.0, 3.0
SMALLEST_M = 30.0  # of what is shown, so that neighbouring rigs don't fill the page
LONGEST_NAME = 26
STROKES = ("stroke", "dashed", "dotted")  # of the first person, the second, and any other

Box = tuple[float, float, float, float]


def walks_svg(evening: Evening) -> str:
    """Every shot's place with its number and name, and each person's walks with their length."""
    drawing = _Map(evening)
    for each in evening.rounds:
        drawing.walks(each)
    drawing.places()
    drawing.lengths()
    drawing.furniture()
    return drawing.canvas.svg()


class _Map:
    def __init__(self, evening: Evening) -> None:
        self.evening = evening
        self.shots = kept_shots(evening)
        points = np.array([shot.place_m for shot in self.shots])
        low, high = points.min(axis=0), points.max(axis=0)
        span = np.maximum(high - low, SMALLEST_M)
        inner = WIDTH - 2.0 * MARGIN_MM
        height = float(
            np.clip(span[1] * inner / span[0], LOWEST - 2.0 * MARGIN_MM, TALLEST - 2.0 * MARGIN_MM)
        )
        self.height = height + 2.0 * MARGIN_MM
        self.scale = min(inner / span[0], height / span[1])
        self.middle = (low + high) / 2.0
        self.canvas = Canvas(WIDTH, self.height, "w", "The places from above, and the ways between them")
        self.canvas.box(0.15, 0.15, WIDTH - 0.3, self.height - 0.3, "edge")
        self.ways: list[tuple[str, Array]] = []
        self.taken: list[Box] = [self._around(self._paper(shot.place_m), 3.2, 3.2) for shot in self.shots]

    def _paper(self, place_m: tuple[float, float]) -> Array:
        offset = (np.asarray(place_m) - self.middle) * self.scale * np.array([1.0, -1.0])
        return np.array([WIDTH / 2.0, self.height / 2.0]) + offset

    def walks(self, each: Round) -> None:
        """A person's ways, each drawn and named once."""
        kind, drawn = STROKES[min(each.person, len(STROKES)) - 1], set()
        order = [each.shots[step.shot] for step in each.schedule.steps]
        for one, other in pairwise(order):
            pair = frozenset((one, other))
            if one == other or pair in drawn:
                continue
            drawn.add(pair)
            start, end = (self._paper(self.evening.shot(number).place_m) for number in (one, other))
            self.canvas.line(start, end, kind)
            words = (
                f"{metres_text(self.evening.walk_m(one, other))}, "
                f"{minutes_text(self.evening.walk_s(one, other))}"
            )
            self._line(start, end)
            self.ways.append((words, (start + end) / 2.0))

    def _line(self, start: Array, end: Array) -> None:
        """Keep names off a line."""
        count = max(int(np.hypot(*(end - start)) / 2.0), 1)
        for fraction in np.linspace(0.0, 1.0, count + 1):
            self.taken.append(self._around(start + fraction * (end - start), 0.6, 0.6))

    def lengths(self) -> None:
        """How long the ways are, beside their middles."""
        for words, at in self.ways:
            self._label(words, at, "tq", 2.0)

    def places(self) -> None:
        for shot in self.shots:
            at = self._paper(shot.place_m)
            self.canvas.dot(at, 2.6, "camera start")
            self.canvas.dot(at, 2.3, "plate")
            self.canvas.text(str(shot.number), float(at[0]), float(at[1]) + 1.1, FONT, "tb", "middle")
            name = shot.name if len(shot.name) <= LONGEST_NAME else f"{shot.name[: LONGEST_NAME - 1]}…"
            self._label(name, at, "t", 4.0)

    def _label(self, words: str, at: Array, kind: str, clear: float) -> None:
        """Words beside a place, on the first side where nothing stands; below it where all are taken."""
        wide = text_width(words, FONT)
        across, down = clear + wide / 2.0, clear + FONT / 2.0
        sides = [
            (at[0] + x * across, at[1] + y * down)
            for x, y in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))
        ]
        boxes = [self._around(np.array(side), wide / 2.0, FONT * 0.6) for side in sides]
        chosen = next((n for n, box in enumerate(boxes) if self._fits(box)), 2)
        self.taken.append(boxes[chosen])
        x, y = sides[chosen]
        self.canvas.text(words, float(x), float(y) + FONT * 0.35, FONT, f"{kind} halo", "middle")

    def _around(self, at: Array, half_wide: float, half_tall: float) -> Box:
        return (
            float(at[0]) - half_wide,
            float(at[1]) - half_tall,
            float(at[0]) + half_wide,
            float(at[1]) + half_tall,
        )

    def _fits(self, box: Box) -> bool:
        inside = box[0] > 1.0 and box[1] > 1.0 and box[2] < WIDTH - 1.0 and box[3] < self.height - 1.0
        apart = all(
            box[2] <= other[0] or other[2] <= box[0] or box[3] <= other[1] or other[3] <= box[1]
            for other in self.taken
        )
        return inside and apart

    def furniture(self) -> None:
        """Scale and north arrow, in the lower corners."""
        metres = round_step(WIDTH * 0.2 / self.scale, 1)
        length, x, y = metres * self.scale, 4.0, self.height - 3.0
        self.canvas.path([(x, y - 1.0), (x, y), (x + length, y), (x + length, y - 1.0)], "scale")
        words = f"{metres:g} m" if metres < 1000.0 else f"{metres / 1000.0:g} km"
        self.canvas.text(words, x, y - 1.6, FONT, "t halo")
        x, y = WIDTH - 5.0, self.height - 11.5
        self.canvas.path([(x, y), (x + 1.5, y + 4.5), (x, y + 3.6), (x - 1.5, y + 4.5)], "arrow", closed=True)
        self.canvas.text("N", x, y + 8.4, FONT, "tb", "middle")

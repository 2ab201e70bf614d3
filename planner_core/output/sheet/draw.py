"""What the shot sheet's drawings share: a canvas whose colours come from the page's style, and its strokes.

Coordinates are millimetres on paper. Classes carry colour and weight, so that the same drawing suits paper
and a phone in the dark.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

import drawsvg
import numpy as np
from numpy.typing import ArrayLike

from planner_core.plan.text import paragraphs

Points = Iterable[ArrayLike]


_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


def printable(text: str) -> str:
    """The text without characters that neither HTML nor XML can hold, or that don't print."""
    return paragraphs(_UNPRINTABLE.sub("", text))


class Canvas:
    """A drawing of width × height, with what the sheet's figures need and no more."""

    def __init__(self, width: float, height: float, prefix: str, label: str) -> None:
        self.width, self.height = width, height
        self.drawing = drawsvg.Drawing(
            width,
            height,
            id_prefix=prefix,
            role="img",
            preserveAspectRatio="xMinYMin meet",
            **{"aria-label": printable(label)},
        )
        self._into: drawsvg.Drawing | drawsvg.Group = self.drawing

    def line(self, start: ArrayLike, end: ArrayLike, kind: str) -> None:
        """A straight stroke between two places (x, y)."""
        (x, y), (x2, y2) = np.asarray(start), np.asarray(end)
        self._into.append(drawsvg.Line(_r(x), _r(y), _r(x2), _r(y2), class_=kind))

    def path(self, points: Points, kind: str, *, closed: bool = False) -> None:
        """A stroke through points, or an area where closed. Fewer than two points draw nothing."""
        rounded = [(_r(x), _r(y)) for x, y in map(np.asarray, points)]
        if len(rounded) < 2:
            return
        path = drawsvg.Path(class_=kind)
        path.M(*rounded[0])
        for point in rounded[1:]:
            path.L(*point)
        if closed:
            path.Z()
        self._into.append(path)

    def box(self, x: float, y: float, width: float, height: float, kind: str) -> None:
        """A rectangle from its upper left corner."""
        self._into.append(drawsvg.Rectangle(_r(x), _r(y), _r(width), _r(height), class_=kind))

    def dot(self, at: ArrayLike, radius: float, kind: str) -> None:
        """A circle around a place (x, y)."""
        x, y = np.asarray(at)
        self._into.append(drawsvg.Circle(_r(x), _r(y), _r(radius), class_=kind))

    def text(
        self, words: str, x: float, y: float, size: float, kind: str = "t", anchor: str = "start"
    ) -> None:
        """Words with their baseline at y."""
        self._into.append(
            drawsvg.Text(printable(words), _r(size), _r(x), _r(y), class_=kind, text_anchor=anchor)
        )

    def inside(self, x: float, y: float, width: float, height: float) -> None:
        """What follows shows only within this rectangle, until `outside`."""
        clip = drawsvg.ClipPath()
        clip.append(drawsvg.Rectangle(_r(x), _r(y), _r(width), _r(height)))
        group = drawsvg.Group(clip_path=clip)
        self.drawing.append(group)
        self._into = group

    def outside(self) -> None:
        """What follows shows anywhere again."""
        self._into = self.drawing

    def svg(self) -> str:
        """The drawing as an SVG element for use within HTML."""
        return str(self.drawing.as_svg(header="", skip_js=True, skip_css=True)).strip()


def _r(value: float) -> float:
    return round(float(value), 2)


def round_step(span: float, most: int) -> float:
    """The smallest of 1, 2, 5 × 10ⁿ that divides a span into no more than `most` parts."""
    least = max(span / max(most, 1), 1e-9)
    power = 10.0 ** np.floor(np.log10(least))
    return float(
        next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= least * (1 - 1e-9))
    )


# advances of DejaVu Sans 2.37 in em, rounded up: the widest face that a system is likely to show the sheet in
_CLASSES_EM = {
    0.3: "IJijl'",
    0.34: " ,./:;\\|’·",
    0.41: "!()-[]frt",
    0.53: '"*?_`sz°–‘“”',
    0.6: "ckvxyFLP",
    0.64: "abdeghnopqu0123456789$ESTY",
    0.79: "&DGHNOQU",
    0.84: "#+<=>~−×w^",
    0.87: "M",
    1.0: "%@Wm…—",
}
_ADVANCE_EM = {letter: em for em, letters in _CLASSES_EM.items() for letter in letters}
_LETTER_EM, _FOREIGN_EM, _BOLD = 0.7, 0.84, 1.13


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """How wide words are in a wide face, for keeping labels apart; in a narrower one they leave more room."""
    em = sum(_ADVANCE_EM.get(letter) or _other_em(letter) for letter in words)
    return size * em * (_BOLD if bold else 1.0)


def _other_em(letter: str) -> float:
    if unicodedata.combining(letter):
        return 0.0
    if unicodedata.east_asian_width(letter) in ("W", "F"):
        return 1.0
    return _LETTER_EM if letter < "\u0250" else _FOREIGN_EM


def minus(number: str) -> str:
    """A printed number with a true minus sign, and none before a zero."""
    return number.lstrip("+-") if float(number) == 0.0 else number.replace("-", "−")


def interpolate(value: ArrayLike, low: float, high: float, start: float, end: float) -> np.ndarray:
    """Value from the range low..high onto start..end, any shape."""
    fraction = (np.asarray(value, dtype=np.float64) - low) / max(high - low, 1e-12)
    return start + fraction * (end - start)

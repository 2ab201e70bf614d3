"""Pictures as arrays of pixels: written as PNG, with plain letters, discs, lines and filled outlines.

Images have shape (lines, columns, 3), uint8, from the top line down.
"""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from planner_core.place.outlines import inside

Image = NDArray[np.uint8]
Array = NDArray[np.float64]
Colour = tuple[int, int, int]

# Letters five wide and seven high, a row a number, its bits from the left
_GLYPHS = {
    "0": "0e11131519110e", "1": "040c040404040e", "2": "0e11010204081f", "3": "1f02040201110e",
    "4": "02060a121f0202", "5": "1f101e0101110e", "6": "0608101e11110e", "7": "1f010204080808",
    "8": "0e11110e11110e", "9": "0e11110f01020c", "A": "0e11111f111111", "B": "1e11111e11111e",
    "C": "0e11101010110e", "D": "1c12111111121c", "E": "1f10101e10101f", "F": "1f10101e101010",
    "G": "0e11101711110f", "H": "1111111f111111", "I": "0e04040404040e", "J": "0702020202120c",
    "K": "11121418141211", "L": "1010101010101f", "M": "111b1515111111", "N": "11111915131111",
    "O": "0e11111111110e", "P": "1e11111e101010", "Q": "0e11111115120d", "R": "1e11111e141211",
    "S": "0f10100e01011e", "T": "1f040404040404", "U": "1111111111110e", "V": "11111111110a04",
    "W": "1111111515150a", "X": "11110a040a1111", "Y": "1111110a040404", "Z": "1f01020408101f",
    ".": "00000000000c0c", ",": "000000000c0408", "-": "0000001f000000", ":": "000c0c000c0c00",
    "/": "00010204081000", "°": "0c12120c000000", "'": "0c040800000000", "(": "02040808080402",
    ")": "08040202020408", "+": "0004041f040400", "%": "18190204081303", "?": "0e110102040004",
    "×": "00110a040a1100", "&": "0c12140815120d",
}  # fmt: skip
LETTER_PX = 6  # a letter with the gap after it


def png(image: Image) -> bytes:
    """An image as a PNG file (ISO/IEC 15948), eight bits a channel; the same bytes for the same image."""
    lines, columns = image.shape[:2]
    raw = np.zeros((lines, 1 + 3 * columns), dtype=np.uint8)  # filter type 0 before each line
    raw[:, 1:] = image.reshape(lines, -1)
    head = struct.pack(">IIBBBBB", columns, lines, 8, 2, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(raw.tobytes(), 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in parts
    )


def canvas(columns: int, lines: int, colour: Colour) -> Image:
    """An image of one colour."""
    return np.full((lines, columns, 3), colour, dtype=np.uint8)


def paste(image: Image, other: Image, left: int, top: int) -> None:
    """Put an image into another; what is beyond the edge is cut off."""
    lines, columns = min(len(other), len(image) - top), min(other.shape[1], image.shape[1] - left)
    image[top : top + lines, left : left + columns] = other[:lines, :columns]


def write(image: Image, text: str, left: int, top: int, colour: Colour, scale: int = 1) -> int:
    """Write a line of text and return where it ends; what doesn't fit is left off."""
    for letter in text.upper():
        if left + LETTER_PX * scale > image.shape[1]:
            break
        rows = _GLYPHS.get(letter)
        if rows is not None:
            bits = np.array(
                [[int(rows[i : i + 2], 16) >> (4 - x) & 1 for x in range(5)] for i in range(0, 14, 2)]
            )
            ys, xs = np.nonzero(np.kron(bits, np.ones((scale, scale), dtype=int)))
            inside_rows = (ys + top >= 0) & (ys + top < len(image))
            image[ys[inside_rows] + top, xs[inside_rows] + left] = colour
        left += LETTER_PX * scale
    return left


def text_px(text: str, scale: int = 1) -> int:
    """How wide a line of text is."""
    return len(text) * LETTER_PX * scale


def disc(image: Image, x: float, y: float, radius: float, colour: Colour) -> None:
    """Fill a disc."""
    rows, columns = np.ogrid[: len(image), : image.shape[1]]
    image[(columns - x) ** 2 + (rows - y) ** 2 <= radius**2] = colour


def line(image: Image, start: Array, end: Array, colour: Colour, width: float = 1.0) -> None:
    """Draw a straight line between two points (2,) in pixels."""
    rows, columns = np.mgrid[: len(image), : image.shape[1]]
    along = np.asarray(end, dtype=np.float64) - start
    length = max(float(along @ along), 1e-9)
    share = np.clip(((columns - start[0]) * along[0] + (rows - start[1]) * along[1]) / length, 0.0, 1.0)
    away = np.hypot(columns - start[0] - share * along[0], rows - start[1] - share * along[1])
    image[away <= width / 2.0 + 0.2] = colour


def fill(image: Image, ring: Array, colour: Colour) -> None:
    """Fill an outline (n, 2) in pixels."""
    low = np.clip(np.floor(ring.min(axis=0)).astype(int), 0, None)
    high = np.minimum(np.ceil(ring.max(axis=0)).astype(int) + 1, (image.shape[1], len(image)))
    if (low >= high).any():
        return
    x, y = np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1]))
    within = inside(ring, np.stack([x + 0.5, y + 0.5], axis=-1))
    image[low[1] : high[1], low[0] : high[0]][within] = colour

"""Pictures as arrays of pixels: written as PNG, with plain letters, discs, lines and filled outlines.

Images have shape (lines, columns, 3), uint8, from the top line down.
"""

from __future__ import annotations

import functools
import struct
import unicodedata
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
    "a": "00000e010f110f", "b": "1010161911111e", "c": "00000e1010110e", "d": "01010d1311110f",
    "e": "00000e111f100e", "f": "0609081c080808", "g": "00000f1111110f010e", "h": "10101619111111",
    "i": "04000c0404040e", "j": "02000602020202120c", "k": "10101214181412", "l": "0c04040404040e",
    "m": "00001a15151111", "n": "00001619111111", "o": "00000e1111110e", "p": "00001e1111111e1010",
    "q": "00000f1111110f0101", "r": "00001619101010", "s": "00000e100e011e", "t": "08081c08080906",
    "u": "0000111111130d", "v": "00001111110a04", "w": "0000111115150a", "x": "0000110a040a11",
    "y": "00001111110f010e", "z": "00001f0204081f",
}  # fmt: skip
SPACE_COLUMNS, ROWS = 3, 9
SMALL, LARGE = 3, 2  # what letters drawn four times as large are divided by: capitals 9 and 14 px high


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


def write(image: Image, text: str, left: int, top: int, colour: Colour, size: int = SMALL) -> int:
    """Write a line of text and return where it ends; what doesn't fit is left off."""
    for letter in _plain(text):
        ink = _letter(letter, size)
        lines, columns = ink.shape
        if left + columns > image.shape[1]:
            break
        rows = slice(max(top, 0), max(min(top + lines, len(image)), 0))
        under = image[rows, left : left + columns]
        coverage = ink[rows.start - top : rows.start - top + len(under), :, None]
        under[:] = np.round(under * (1.0 - coverage) + np.array(colour) * coverage)
        left += columns
    return left


def text_px(text: str, size: int = SMALL) -> int:
    """How wide a line of text is."""
    return sum(_letter(letter, size).shape[1] for letter in _plain(text))


def _plain(text: str) -> str:
    """Text without the accents that there are no letters for."""
    return "".join(
        letter for letter in unicodedata.normalize("NFKD", text) if letter in _GLYPHS or letter == " "
    )


@functools.cache
def _letter(letter: str, size: int) -> Array:
    """How much of each pixel a letter covers, (lines, columns), with the gap after it."""
    code = _GLYPHS.get(letter, "")
    bits = np.zeros((ROWS, 5), dtype=bool)
    for row in range(len(code) // 2):
        number = int(code[2 * row : 2 * row + 2], 16)
        bits[row] = [number >> (4 - column) & 1 for column in range(5)]
    used = np.flatnonzero(bits.any(axis=0))
    bits = bits[:, used[0] : used[-1] + 1] if len(used) else np.zeros((ROWS, SPACE_COLUMNS - 1), dtype=bool)
    bits = np.pad(bits, ((0, 0), (0, 1)))
    fine = _twice(_twice(bits)).astype(np.float64)
    lines, columns = (-(-side // size) * size for side in fine.shape)
    fine = np.pad(fine, ((0, lines - fine.shape[0]), (0, columns - fine.shape[1])))
    return fine.reshape(lines // size, size, columns // size, size).mean(axis=(1, 3))


def _twice(bits: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Twice as large, with steps along diagonals filled: each corner takes the colour of two neighbours that
    agree, unless the others do too.
    """
    padded = np.pad(bits, 1)
    up, down, left, right = padded[:-2, 1:-1], padded[2:, 1:-1], padded[1:-1, :-2], padded[1:-1, 2:]
    large = np.repeat(np.repeat(bits, 2, axis=0), 2, axis=1)
    for line, vertical, other_vertical in ((0, up, down), (1, down, up)):
        for column, side, other_side in ((0, left, right), (1, right, left)):
            agree = (vertical == side) & (vertical != other_side) & (side != other_vertical)
            large[line::2, column::2] = np.where(agree, vertical, bits)
    return large


def disc(image: Image, x: float, y: float, radius: float, colour: Colour) -> None:
    """Fill a disc."""
    rows, columns = np.ogrid[: len(image), : image.shape[1]]
    image[(columns - x) ** 2 + (rows - y) ** 2 <= radius**2] = colour


def line(image: Image, start: Array, end: Array, colour: Colour, width: float = 1.0) -> None:
    """Draw a straight line between two points (2,) in pixels."""
    rows, columns = np.mgrid[: len(image), : image.shape[1]]
    along = np.asarray(end, dtype=np.float64) - start
    length = max(float(along @ along), 1e-9)
    fraction = np.clip(((columns - start[0]) * along[0] + (rows - start[1]) * along[1]) / length, 0.0, 1.0)
    away = np.hypot(columns - start[0] - fraction * along[0], rows - start[1] - fraction * along[1])
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

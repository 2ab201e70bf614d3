"""How bright a frame came out, from the thumbnail in its file: its blocks' averages, nothing else decoded.

Only baseline JPEG is read (ITU-T T.81, 1992): the first coefficient of each block of the luma is eight times
its average, and the others are only skipped. It is written here because no decoder that is kept up is pure
Python, which alone can be packed into the extension for every system and Python that Blender runs on; the
tests hold it to another decoder, block by block, and to files that were damaged on purpose.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path

import exifread
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.log.sequence import ShotSequence

Array = NDArray[np.float64]

MIDDLE_GREY = 0.18  # of white: a card of 18 %, which ISO 12232 sets at 118 of 255
MOST_THUMBNAILS = 60  # looked at: the light changes slowly
MOST_BYTES, MOST_BLOCKS = 100_000, 5_000  # a thumbnail has a twentieth; more may be meant to keep us busy
DARKEST = 0.25 / 255.0  # of white: black counts as a quarter of a level, so that its logarithm is finite

logging.getLogger("exifread").setLevel(logging.CRITICAL)


def picture_stops(path: Path) -> float | None:
    """How many stops the thumbnail's average is over middle grey; None without a thumbnail that can be read.

    The average is of linear light, as an averaging meter's; a camera's picture style moves it by its
    contrast.
    """
    try:
        with path.open("rb") as file:
            tags = exifread.process_file(file, details=True, extract_thumbnail=True, strict=False)
    except Exception:  # whatever a damaged file does to the reader, it has no thumbnail
        return None
    content = tags.get("JPEGThumbnail")
    luma = block_luma(content) if isinstance(content, bytes) else None
    if luma is None:
        return None
    return float(np.log2(max(float(_linear(luma / 255.0).mean()), DARKEST / 12.92) / MIDDLE_GREY))


def sampled_stops(
    folder: Path,
    shot: ShotSequence,
    tell: Callable[[int, int], None] | None = None,
    *,
    most: int = MOST_THUMBNAILS,
) -> Array:
    """picture_stops of some frames of a sequence, evenly spread, shape (count,); NaN for the others.

    tell is called with how many are read, of how many.
    """
    sampled = np.full(shot.count, np.nan)
    indices = np.unique(np.linspace(0, len(shot.frames) - 1, min(most, len(shot.frames))).astype(int))
    for count, index in enumerate(indices):
        if tell is not None:
            tell(count, len(indices))
        stops = picture_stops(folder / shot.frames[index].name)
        if stops is not None:
            sampled[shot.number[index] - 1] = stops
    return sampled


def _linear(value: Array) -> Array:
    """Linear light of sRGB values, 0 to 1 (IEC 61966-2-1)."""
    value = np.clip(value, 0.0, 1.0)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def block_luma(content: bytes) -> Array | None:
    """The average luma, 0 to 255, of every block of 8 × 8, (rows, columns); None for what is no whole
    baseline JPEG, or one that is larger than a thumbnail.
    """
    if not 4 < len(content) <= MOST_BYTES:
        return None
    try:
        return _decoded(content)
    except (IndexError, ValueError, KeyError, ArithmeticError):
        return None


@frozen
class _Component:
    across: int
    down: int
    table: int


def _decoded(content: bytes) -> Array | None:
    steps: dict[int, int] = {}
    codes: dict[int, list[int]] = {}
    parts: dict[int, _Component] = {}
    size, restart = (0, 0), 0
    for kind, body, after in _segments(content):
        if kind == 0xDB:
            steps |= dict(_first_steps(body))
        elif kind == 0xC4:
            codes |= dict(_code_tables(body))
        elif kind == 0xDD:
            restart = int.from_bytes(body[:2], "big")
        elif kind in (0xC0, 0xC1) and body[0] == 8:
            size = int.from_bytes(body[3:5], "big"), int.from_bytes(body[1:3], "big")
            rows = (body[6 + 3 * n : 9 + 3 * n] for n in range(body[5]))
            parts = {row[0]: _Component(row[1] >> 4, row[1] & 15, row[2]) for row in rows}
        elif kind in (0xC2, 0xC3) or 0xC5 <= kind <= 0xCF:
            return None  # progressive, lossless or arithmetic
        elif kind == 0xDA:
            chosen = [(body[1 + 2 * n], body[2 + 2 * n]) for n in range(body[0])]
            scan = [(parts[part], codes[tables >> 4], codes[16 + (tables & 15)]) for part, tables in chosen]
            return _scanned(content[after:], scan, size, restart, steps[scan[0][0].table])
    return None


def _segments(content: bytes) -> Iterator[tuple[int, bytes, int]]:
    """Each marker's kind, its body, and where what follows it begins."""
    offset = 2
    while offset + 4 <= len(content):
        if content[offset] != 0xFF:
            raise ValueError("no marker")
        kind = content[offset + 1]
        if kind == 0xFF:
            offset += 1
            continue
        length = int.from_bytes(content[offset + 2 : offset + 4], "big")
        if length < 2:
            raise ValueError("no length")
        yield kind, content[offset + 4 : offset + 2 + length], offset + 2 + length
        offset += 2 + length


def _first_steps(body: bytes) -> Iterator[tuple[int, int]]:
    """For every quantisation table in a segment, by how much the first coefficient is divided."""
    offset = 0
    while offset < len(body):
        wide = body[offset] >> 4
        yield body[offset] & 15, int.from_bytes(body[offset + 1 : offset + 2 + wide], "big")
        offset += 1 + 64 * (1 + wide)


def _code_tables(body: bytes) -> Iterator[tuple[int, list[int]]]:
    offset = 0
    while offset < len(body):
        count = sum(body[offset + 1 : offset + 17])
        end = offset + 17 + count
        yield body[offset], _lookup(body[offset + 1 : end])
        offset = end


@lru_cache(maxsize=16)  # cameras write the same tables into every file
def _lookup(table: bytes) -> list[int]:
    """For every 16 bits that can come next, 256 × the length of their code, and its symbol."""
    entries = np.zeros(1 << 16, dtype=np.int64)
    code, symbol = 0, 16
    for length in range(1, 17):
        for _ in range(table[length - 1]):
            begin = code << (16 - length)
            entries[begin : begin + (1 << (16 - length))] = length << 8 | table[symbol]
            code, symbol = code + 1, symbol + 1
        code <<= 1
    listed: list[int] = entries.tolist()
    return listed


def _scanned(
    data: bytes,
    scan: list[tuple[_Component, list[int], list[int]]],
    size: tuple[int, int],
    restart: int,
    step: int,
) -> Array | None:
    """The luma's block averages from the coded data."""
    if len(scan) == 1:
        scan = [(_Component(1, 1, scan[0][0].table), *scan[0][1:])]
    wide, tall = (max(getattr(part, side) for part, _, _ in scan) for side in ("across", "down"))
    columns, rows = -(-size[0] // (8 * wide)), -(-size[1] // (8 * tall))
    units = columns * rows
    first = scan[0][0]
    is_whole = (first.across, first.down) == (wide, tall)  # no part is finer than the luma
    if not is_whole or not 0 < units * sum(part.across * part.down for part, _, _ in scan) <= 3 * MOST_BLOCKS:
        return None
    luma_levels: list[int] = []
    for part in _between_restarts(data):
        reader, count = _Reader(part), min(restart or units, units)
        units -= count
        levels = [0] * len(scan)
        for _ in range(count):
            for n, (component, direct, others) in enumerate(scan):
                for _ in range(component.across * component.down):
                    levels[n] += reader.block(direct, others)
                    if n == 0:
                        luma_levels.append(levels[0])
        if units <= 0:
            break
    if units > 0:
        return None
    # in the file blocks of a unit follow each other, and those at the edges go beyond the picture
    blocks = np.array(luma_levels, dtype=np.float64).reshape(rows, columns, tall, wide)
    laid = blocks.swapaxes(1, 2).reshape(rows * tall, columns * wide)
    return laid[: -(-size[1] // 8), : -(-size[0] // 8)] * step / 8.0 + 128.0


def _between_restarts(data: bytes) -> Iterator[bytes]:
    begin = offset = 0
    while (offset := data.find(b"\xff", offset)) >= 0 and offset + 1 < len(data):
        kind = data[offset + 1]
        if kind != 0:
            yield data[begin:offset].replace(b"\xff\x00", b"\xff")
            if not 0xD0 <= kind <= 0xD7:
                return
            begin = offset + 2
        offset += 2


class _Reader:
    """Reads blocks off coded bits."""

    def __init__(self, data: bytes) -> None:
        self.data, self.bits, self.position = data + b"\0\0\0\0", 8 * len(data), 0

    def _next(self, count: int) -> int:
        at, data = self.position >> 3, self.data
        word = data[at] << 24 | data[at + 1] << 16 | data[at + 2] << 8 | data[at + 3]
        return word >> (32 - (self.position & 7) - count) & ((1 << count) - 1)

    def _symbol(self, table: list[int]) -> int:
        entry = table[self._next(16)]
        if not entry:
            raise ValueError("no such code")
        self.position += entry >> 8
        return entry & 255

    def block(self, first: list[int], others: list[int]) -> int:
        """By how much the first coefficient differs from the last block's; the others are passed over."""
        size = self._symbol(first)
        difference = self._next(size) if size else 0
        self.position += size
        if size and difference < 1 << (size - 1):
            difference -= (1 << size) - 1
        k = 1
        while k < 64:
            symbol = self._symbol(others)
            if symbol & 15:
                k += (symbol >> 4) + 1
                self.position += symbol & 15
            elif symbol == 0xF0:
                k += 16
            else:
                break
        if self.position > self.bits:
            raise ValueError("ends too early")
        return difference

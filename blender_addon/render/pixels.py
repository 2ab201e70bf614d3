"""Pixels of the files that Blender writes quickest, and PNG files of pixels. Bytes and arrays alone."""

from __future__ import annotations

import struct
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .cache import PNG_SIGNATURE

PACKED = 0  # not at all: to pack a frame, and unpack it for the clip, takes a tenth as long as to draw it
BMP_HEAD = struct.Struct("<2sIHHIIiiHH")  # with the start of its second header
EXR_MAGIC, EXR_SCANLINES, EXR_LONG_NAMES = 20000630, 2, 0x400  # of one part
EXR_HALF = 1


def of_bmp(content: bytes) -> NDArray[np.uint8] | None:
    """Pixels (height, width, 3) of an uncompressed 24-bit BMP, the top row first; None if it isn't whole."""
    if len(content) < BMP_HEAD.size + 2:
        return None
    kind, size, _, _, start, _, width, height, _, bits = BMP_HEAD.unpack_from(content)
    stride = (3 * width + 3) // 4 * 4
    if kind != b"BM" or bits != 24 or len(content) < max(size, start + stride * abs(height)):
        return None
    rows = np.frombuffer(content, np.uint8, stride * abs(height), start).reshape(abs(height), stride)
    pixels = rows[:, : 3 * width].reshape(abs(height), width, 3)[:, :, ::-1]
    return pixels[::-1] if height > 0 else pixels


def of_exr(content: bytes) -> NDArray[np.float16] | None:
    """Pixels (height, width, 3) of an uncompressed OpenEXR file of 16-bit red, green and blue, the top row
    first; None if it is another or isn't whole. OpenEXR file layout (openexr.com).
    """
    magic, kind = struct.unpack_from("<II", content.ljust(8, b"\0"))
    if magic != EXR_MAGIC or kind & ~EXR_LONG_NAMES != EXR_SCANLINES:
        return None
    fields, header_end = _exr_header(content)
    if fields.get("compression") != b"\0" or fields.get("lineOrder") != b"\0":
        return None
    left, top, right, bottom = struct.unpack("<4i", fields.get("dataWindow", bytes(16)))
    width, height = right - left + 1, bottom - top + 1
    channels = (name + struct.pack("<iIii", EXR_HALF, 0, 1, 1) for name in (b"B\0", b"G\0", b"R\0"))
    if fields.get("channels") != b"".join(channels) + b"\0":
        return None
    start, of_row = header_end + 8 * height, 8 + 6 * width  # behind where each row begins
    if len(content) != start + of_row * height:
        return None
    rows = np.frombuffer(content, np.uint8, of_row * height, start).reshape(height, of_row)
    planes = np.ascontiguousarray(rows[:, 8:]).view("<f2").reshape(height, 3, width)
    return np.ascontiguousarray(planes[:, ::-1].transpose(0, 2, 1), dtype=np.float16)


def _exr_header(content: bytes) -> tuple[dict[str, bytes], int]:
    """The fields of an OpenEXR file's header, and where it ends; none of a broken one."""
    fields: dict[str, bytes] = {}
    offset = 8
    while offset < len(content) and content[offset]:
        name_end = content.find(b"\0", offset)
        kind_end = content.find(b"\0", name_end + 1)
        if min(name_end, kind_end) < 0 or kind_end + 5 > len(content):
            return {}, offset
        (size,) = struct.unpack_from("<I", content, kind_end + 1)
        value = kind_end + 5
        fields[content[offset:name_end].decode("latin-1")] = content[value : value + size]
        offset = value + size
    return fields, offset + 1


def png(pixels: NDArray[np.uint8]) -> bytes:
    """Pixels (height, width, 3) as PNG (ISO/IEC 15948), the same bytes each time."""
    height, width, _ = pixels.shape
    rows = np.zeros((height, 1 + 3 * width), dtype=np.uint8)
    rows[:, 1:] = pixels.reshape(height, 3 * width)
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks: Any = ((b"IHDR", head), (b"IDAT", zlib.compress(rows.data, PACKED)), (b"IEND", b""))
    return PNG_SIGNATURE + b"".join(
        part
        for kind, data in chunks
        for part in (
            struct.pack(">I", len(data)),
            kind,
            data,
            struct.pack(">I", zlib.crc32(data, zlib.crc32(kind))),
        )
    )

"""Finished pictures as arrays: read, captioned, set side by side and written as PNG. No window is needed.

A picture is an array (height, width, 3) of 8 bits, the top row first.
"""

from __future__ import annotations

import contextlib
import errno
import tempfile
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import bpy  # it brings the two below
import numpy as np
from numpy.typing import NDArray

# isort: split
import blf
import imbuf

from planner_core.plan.writing import whole_file
from planner_core.words.language import phrase

from .. import compat
from .cache import is_whole_png

Picture = NDArray[np.uint8]

INK, SHADE, PAPER = 245, 18, 24  # of letters, of what is behind them, and of a card
SHADE_SHARE = 0.62


def read_picture(path: Path) -> Picture:
    """A PNG's pixels as they stand in the file. Raises OSError."""
    return _read(path, 3)


def write_picture(picture: Picture, path: Path) -> None:
    """Write a picture as PNG; it appears under its name once it is whole. Raises OSError."""
    height, width, _ = picture.shape
    image: Any = bpy.data.images.new("Picture", width, height, alpha=False)
    try:
        image.colorspace_settings.name = "Non-Color"
        whole = np.ones((height, width, 4), dtype=np.float32)
        whole[..., :3] = picture[::-1] / np.float32(255.0)
        image.pixels.foreach_set(whole.ravel())
        scene = bpy.data.scenes.new("Picture")
        try:
            settings = scene.render.image_settings
            compat.choose_image(settings, "PNG")
            settings.color_mode, settings.color_depth, settings.compression = "RGB", "8", 40
            scene.view_settings.view_transform = "Raw"  # type: ignore[assignment, union-attr]
            with whole_file(path) as working:
                with _reported(path):
                    image.save_render(str(working.absolute()), scene=scene)
                if not working.is_file() or not is_whole_png(working.read_bytes()):
                    why = phrase("could not be written whole; is the disk full?")
                    raise OSError(errno.EIO, why, str(path))
        finally:
            bpy.data.scenes.remove(scene)
    finally:
        bpy.data.images.remove(image)


def packed(path: Path) -> bytes:
    """A picture as PNG, compressed as strongly as those that are written here. Raises OSError."""
    with tempfile.TemporaryDirectory(prefix="duskrail-") as folder:
        tight = Path(folder) / "packed.png"
        write_picture(read_picture(path), tight)
        return tight.read_bytes()


@contextlib.contextmanager
def _reported(path: Path) -> Iterator[None]:
    try:
        yield
    except RuntimeError as problem:
        why = phrase("can't be written ({why})", why=" ".join(str(problem).split()))
        raise OSError(errno.EIO, why, str(path)) from None


def captioned(picture: Picture, left: str, right: str = "") -> Picture:
    """The picture with a line of plain type along its foot, at the left and at the right."""
    height, width, _ = picture.shape
    type_px = max(9, round(height * 0.033))
    room = round(type_px * 1.9)
    done = picture.copy()
    foot = done[height - room :].astype(np.float32)
    foot = foot * (1.0 - SHADE_SHARE) + SHADE * SHADE_SHARE
    margin = type_px
    fitting = _fitting(f"{left}     {right}", type_px, width - 2 * margin)
    for text, at_right in ((left, False), (right, True)):
        mask = letters(text, fitting)
        x = width - margin - mask.shape[1] if at_right else margin
        _ink(foot, mask, x, (room - mask.shape[0]) // 2)
    done[height - room :] = np.rint(foot).astype(np.uint8)
    return done


def title_card(size_px: tuple[int, int], lines: Sequence[tuple[str, float]]) -> Picture:
    """A plain card with lines of type below each other, each with its height as a share of the card's."""
    width, height = size_px
    card = np.full((height, width, 3), PAPER, dtype=np.float32)
    rows = []
    for text, fraction in lines:
        wanted = max(8, round(height * fraction))
        for piece in wrapped(text, wanted, round(width * 0.82)):
            rows.append((letters(piece, _fitting(piece, wanted, round(width * 0.82))), round(wanted * 1.7)))
    top = (height - sum(room for _, room in rows)) // 2
    for mask, room in rows:
        _ink(card, mask, round(width * 0.09), top + (room - mask.shape[0]) // 2)
        top += room
    return np.rint(card).astype(np.uint8)


def beside(left: Picture, right: Picture, gap_px: int) -> Picture:
    """Two pictures of a height side by side."""
    gap = np.full((left.shape[0], gap_px, 3), PAPER, dtype=np.uint8)
    return np.hstack([left, gap, right])


def grid(pictures: Sequence[Picture], columns: int, gap_px: int) -> Picture:
    """Pictures of one size in rows on a plain ground."""
    height, width, _ = pictures[0].shape
    rows = -(-len(pictures) // columns)
    whole = np.full(
        (rows * (height + gap_px) + gap_px, columns * (width + gap_px) + gap_px, 3), PAPER, dtype=np.uint8
    )
    for index, picture in enumerate(pictures):
        y, x = (
            gap_px + (height + gap_px) * (index // columns),
            gap_px + (width + gap_px) * (index % columns),
        )
        whole[y : y + height, x : x + width] = picture
    return whole


def wrapped(text: str, type_px: int, width_px: int) -> list[str]:
    """A text in lines no wider than that, broken between words."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(longer, type_px) <= width_px:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def width_of(text: str, type_px: int) -> float:
    """How wide a line of type is, pixels."""
    blf.size(0, type_px)
    return float(blf.dimensions(0, text)[0])


def _fitting(text: str, type_px: int, width_px: int) -> int:
    """The size of type at which a line has room."""
    wide = width_of(text, type_px)
    return type_px if wide <= width_px else max(6, int(type_px * width_px / wide))


@lru_cache(maxsize=512)
def letters(text: str, type_px: int) -> NDArray[np.float32]:
    """A line of type as the share of ink in each pixel, shape (height, width), the top row first."""
    if not text:
        return np.zeros((1, 1), dtype=np.float32)
    wide, high = int(width_of(text, type_px)) + 4, round(type_px * 1.5)
    buffer = imbuf.new((wide, high))
    try:
        blf.size(0, type_px)
        blf.color(0, 1.0, 1.0, 1.0, 1.0)
        blf.position(0, 2, round(type_px * 0.4), 0)
        with blf.bind_imbuf(0, buffer):  # type: ignore[func-returns-value, attr-defined]
            blf.draw_buffer(0, text)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "letters.png"
            imbuf.write(buffer, filepath=str(path))
            return _read(path, 4)[..., 3].astype(np.float32) / np.float32(255.0)
    finally:
        buffer.free()


def _read(path: Path, channels: int) -> Picture:
    if not path.is_file():
        raise FileNotFoundError(2, "No such file", str(path))
    image: Any = bpy.data.images.load(str(path.absolute()))
    try:
        image.colorspace_settings.name = "Non-Color"
        image.alpha_mode = "CHANNEL_PACKED"
        width, height = image.size
        pixels = np.empty(width * height * 4, dtype=np.float32)
        image.pixels.foreach_get(pixels)
    finally:
        bpy.data.images.remove(image)
    rows = pixels.reshape(height, width, 4)[::-1, :, :channels]
    return np.rint(rows * 255.0).astype(np.uint8)


def _ink(ground: NDArray[np.float32], mask: NDArray[np.float32], x: int, y: int) -> None:
    """Draw type onto a background, as far as it fits."""
    height, width = ground.shape[:2]
    x, y = max(x, 0), max(y, 0)
    mask = mask[: height - y, : width - x]
    part = ground[y : y + mask.shape[0], x : x + mask.shape[1]]
    part += mask[..., None] * (INK - part)

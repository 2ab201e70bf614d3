"""Thumbnails as an independent decoder reads them, and damaged ones, which are none."""

from __future__ import annotations

import datetime as dt
import io
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from planner_core.log import thumbnail
from planner_core.log.thumbnail import block_luma, picture_stops
from tests.shoots import frame_bytes, grey_thumbnail

# of one file's processor time, on a slow machine; a thumbnail takes some ten milliseconds
QUICK_S = 2.0


def picture(width: int, height: int, grain_px: int, seed: int, mode: str) -> Image.Image:
    """Noise of so coarse a grain."""
    shape = -(-height // grain_px), -(-width // grain_px), 3
    noise = np.random.default_rng(seed).integers(0, 256, shape, dtype=np.uint8)
    return Image.fromarray(noise).resize((width, height), Image.Resampling.BICUBIC).convert(mode)


def as_jpeg(image: Image.Image, **options: Any) -> bytes:
    content = io.BytesIO()
    image.save(content, "jpeg", **options)
    return content.getvalue()


def decoded_at_an_eighth(content: bytes) -> NDArray[np.float64]:
    """A pixel for each block: libjpeg makes it of the first coefficient alone."""
    with Image.open(io.BytesIO(content)) as image:
        image.draft("L", (max(image.width // 8, 1), max(image.height // 8, 1)))
        return np.asarray(image, dtype=np.float64)


@settings(max_examples=40)
@given(
    width=st.integers(8, 180),
    height=st.integers(8, 140),
    grain_px=st.sampled_from((1, 5, 40)),
    mode=st.sampled_from(("RGB", "L")),
    quality=st.integers(2, 100),
    subsampling=st.integers(0, 2),
    restart=st.sampled_from((0, 1, 7)),
    optimize=st.booleans(),
    seed=st.integers(0, 1000),
)
def test_every_block_is_that_of_an_independent_decoder(
    width: int,
    height: int,
    grain_px: int,
    mode: str,
    quality: int,
    subsampling: int,
    restart: int,
    optimize: bool,
    seed: int,
) -> None:
    options: dict[str, Any] = {"quality": quality, "optimize": optimize}
    if mode == "RGB":
        options["subsampling"] = subsampling
    if restart:
        options["restart_marker_blocks"] = restart
    content = as_jpeg(picture(width, height, grain_px, seed, mode), **options)
    found, seen = block_luma(content), decoded_at_an_eighth(content)
    assert found is not None
    assert found.shape == seen.shape
    # libjpeg rounds to whole levels
    np.testing.assert_allclose(np.clip(found, 0.0, 255.0), seen, atol=0.51)


def test_a_progressive_picture_and_a_whole_photograph_are_no_thumbnail() -> None:
    assert block_luma(as_jpeg(picture(64, 48, 5, 0, "RGB"), progressive=True)) is None
    assert block_luma(as_jpeg(picture(1600, 1200, 40, 0, "RGB"), quality=20)) is None


WHOLE = as_jpeg(picture(160, 107, 5, 3, "RGB"))


@pytest.mark.parametrize("count", [0, 3, 20, 200, len(WHOLE) // 2, len(WHOLE) - 400])
def test_a_truncated_thumbnail_is_none(count: int) -> None:
    assert block_luma(WHOLE[:count]) is None


@settings(max_examples=150)
@given(st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), min_size=1, max_size=30))
def test_a_damaged_thumbnail_is_none_or_a_picture_and_quickly(damage: list[tuple[int, int]]) -> None:
    content = bytearray(WHOLE)
    for place, value in damage:
        content[place] = value
    began_s = time.process_time()
    found = block_luma(bytes(content))
    assert time.process_time() - began_s < QUICK_S
    assert found is None or (np.isfinite(found).all() and found.size <= thumbnail.MOST_BLOCKS * 3)


@settings(max_examples=150)
@given(st.binary(max_size=400))
def test_what_only_begins_like_a_jpeg_is_none(rest: bytes) -> None:
    assert block_luma(WHOLE[:2] + rest) is None


def test_sizes_that_would_keep_one_busy_are_none_quickly() -> None:
    place = WHOLE.index(b"\xff\xc0") + 5
    huge = WHOLE[:place] + b"\xff\xff\xff\xff" + WHOLE[place + 4 :]
    empty = WHOLE[:place] + b"\0\0\0\0" + WHOLE[place + 4 :]
    # no sampling, more parts than the file has, a segment without length, markers without end
    flat = WHOLE[: place + 6] + b"\0" + WHOLE[place + 7 :]
    many = WHOLE[: place + 4] + b"\xff" + WHOLE[place + 5 :]
    endless = b"\xff\xd8" + b"\xff\xe0\0\0" * 20_000
    filled = b"\xff\xd8" + b"\xff" * 90_000
    for content in (huge, empty, flat, many, endless, filled, WHOLE * 50):
        began_s = time.process_time()
        assert block_luma(content) is None
        assert time.process_time() - began_s < QUICK_S


def test_a_file_with_a_broken_thumbnail_has_no_brightness(tmp_path: Path) -> None:
    when, shot_with = dt.datetime(2027, 3, 14, 18), (8.0, 0.1, 100.0)
    whole = frame_bytes(when, shot_with, thumbnail=grey_thumbnail(-1.0))
    scan = whole.index(b"\xff\xda") + 14
    cut = whole[:scan] + b"\xff\xd9" * 20 + whole[scan + 40 :]
    progressive = whole.replace(b"\xff\xc0", b"\xff\xc2", 1)
    for name, content, expected in (("a", whole, -1.0), ("b", cut, None), ("c", progressive, None)):
        path = tmp_path / f"{name}.jpg"
        path.write_bytes(content)
        found = picture_stops(path)
        assert found == (None if expected is None else pytest.approx(expected, abs=0.1)), name

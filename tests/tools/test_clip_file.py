"""The clip's file: as many frames as it should have, the right one at each place, and whole however often the
process is killed.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

av = pytest.importorskip("av", reason="reads the clips")
bpy = pytest.importorskip("bpy", reason="needs Blender's Python module")

from blender_addon.render import cache as framecache  # noqa: E402
from blender_addon.render import movie  # noqa: E402
from planner_core import Plan  # noqa: E402
from planner_core.plan.file import save_plan  # noqa: E402
from tests.two_towers import plan  # noqa: E402

SIZE = (96, 54)
BITS = 6
KILLS, FRAMES = int(os.environ.get("DUSKRAIL_KILLS", "20")), 12


def decoded(path: Path) -> list[NDArray[np.uint8]]:
    with av.open(str(path)) as film:
        return [frame.to_ndarray(format="gray") for frame in film.decode(video=0)]


# ---------------------------------------------------------------- numbered pictures


def numbered(number: int, path: Path) -> Path:
    """A picture with its number in stripes, dark for 0 and bright for 1."""
    image = bpy.data.images.new("Number", *SIZE)
    pixels = np.ones((SIZE[1], SIZE[0], 4), dtype=np.float32)
    for bit in range(BITS):
        stripe = slice(bit * SIZE[0] // BITS, (bit + 1) * SIZE[0] // BITS)
        pixels[:, stripe, :3] = 0.8 if number >> bit & 1 else 0.1
    image.pixels.foreach_set(pixels.ravel())
    image.filepath_raw, image.file_format = str(path), "PNG"
    image.save()
    bpy.data.images.remove(image)
    return path


def number_in(picture: NDArray[np.uint8]) -> int:
    wide = SIZE[0] // BITS
    middles = [picture[10:-10, bit * wide + 4 : (bit + 1) * wide - 4].mean() for bit in range(BITS)]
    return sum(1 << bit for bit, bright in enumerate(middles) if bright > 110)


@pytest.mark.parametrize("fps", [24.0, 25.0, 24000 / 1001, 30.0, 8.0])
def test_frame_n_of_the_file_shows_picture_n(fps: float, tmp_path: Path) -> None:
    pictures = [numbered(number, tmp_path / f"{number}.png") for number in range(40)]
    movie.encode(pictures, tmp_path / "clip.mp4", fps, SIZE)
    assert [number_in(picture) for picture in decoded(tmp_path / "clip.mp4")] == list(range(40))
    with av.open(str(tmp_path / "clip.mp4")) as film:
        stream: Any = film.streams.video[0]
        assert stream.frames == 40
        assert float(stream.average_rate) == pytest.approx(fps, rel=1e-6)
        assert float(stream.duration * stream.time_base) == pytest.approx(40.0 / fps, abs=0.25 / fps)


# ---------------------------------------------------------------- killed at any time


class Shop:
    """A folder with a plan, a cache and a clip to be, and the command line to make it."""

    def __init__(self, folder: Path, one: Plan, root: Path) -> None:
        self.folder, self.root = folder, root
        self.plan, self.clip, self.cache = folder / "one.plan.json", folder / "clip.mp4", folder / "cache"
        save_plan(one, self.plan)

    def start(self) -> subprocess.Popen[bytes]:
        command = [sys.executable, str(self.root / "tools" / "duskrail.py"), "preview", str(self.plan)]
        command += ["-o", str(self.clip), "--size", f"{SIZE[0]}x{SIZE[1]}"]
        return subprocess.Popen(
            command,
            env={**os.environ, framecache.CACHE_VARIABLE: str(self.cache)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def frames(self) -> dict[str, bytes]:
        kept = self.cache.glob("frames/*/*.png")
        return {path.name: path.read_bytes() for path in kept if not path.name.startswith(".")}


@pytest.mark.once
def test_a_preview_killed_at_any_time_breaks_nothing_and_loses_nothing(
    tmp_path: Path, project_root: Path
) -> None:
    one = plan(shoot__frames=FRAMES, shoot__interval_s=480.0)
    shop = Shop(tmp_path, one, project_root)
    began = time.monotonic()
    assert shop.start().wait() == 0
    whole_s = time.monotonic() - began
    first, pictures = shop.frames(), decoded(shop.clip)
    assert len(first) == len(pictures) == FRAMES

    (tmp_path / "again").mkdir()
    again = Shop(tmp_path / "again", one, project_root)
    luck, kept = random.Random(24), dict[str, bytes]()
    for _ in range(KILLS):
        run = again.start()
        time.sleep(luck.uniform(0.2, 0.9) * whole_s)
        run.kill()
        run.wait()
        now = again.frames()
        assert {name: now.get(name) for name in kept} == kept  # nothing finished is lost or changed
        assert all(first[name] == picture for name, picture in now.items())  # and nothing is half there
        kept = now
        if again.clip.exists():
            assert len(decoded(again.clip)) == FRAMES
            again.clip.unlink()
    assert again.start().wait() == 0
    assert again.frames() == first  # the same plan draws the same frames, byte for byte
    assert all(np.array_equal(a, b) for a, b in zip(decoded(again.clip), pictures, strict=True))
    assert sorted(path.name for path in again.folder.iterdir()) == ["cache", "clip.mp4", "one.plan.json"]

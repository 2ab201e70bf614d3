"""Speed, beside something outside on the same input in the same run; accuracy stands beside the ratio.

python3 tools/benchmark.py [SECTION …]. A section is a function that yields lines of text; to add one,
write it and name it in SECTIONS. Sections import what they measure, so that each runs with the packages it
needs.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import platform
import subprocess
import sys
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from planner_core.frames import FrameTable
    from planner_core.plan.model import Plan

if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    __package__ = Path(__file__).resolve().parent.name


def best_s(*tasks: Callable[[], object], rounds: int = 7) -> list[float]:
    """The shortest time of each task, seconds. They take turns, so that a busy moment falls on all."""
    for task in tasks:
        task()
    shortest = [float("inf")] * len(tasks)
    for _ in range(rounds):
        for index, task in enumerate(tasks):
            start = time.perf_counter()
            task()
            shortest[index] = min(shortest[index], time.perf_counter() - start)
    return shortest


# ---------------------------------------------------------------- sun and moon

PLACE_DEG = (43.46, -3.79)
TRUTH_INSTANTS = 500


def sky() -> Iterator[str]:
    """Sun and moon together against pvlib's NREL SPA in numpy for the sun alone; aim: not slower."""
    import pandas  # type: ignore[import-untyped,import-not-found]
    from pvlib import solarposition  # type: ignore[import-untyped,import-not-found]

    from planner_core.time import ephemeris

    latitude, longitude = PLACE_DEG
    for count, step_s in ((1_000, 12.0), (100_000, 60.0)):
        utc_s = 1_805_000_000.0 + step_s * np.arange(count)
        index = pandas.DatetimeIndex(pandas.to_datetime(utc_s, unit="s", utc=True))

        def ours(utc_s: np.ndarray = utc_s) -> None:
            ephemeris.sun_position(utc_s, latitude, longitude)
            ephemeris.moon_position(utc_s, latitude, longitude)

        def theirs(index: pandas.DatetimeIndex = index) -> object:
            return solarposition.spa_python(index, latitude, longitude, how="numpy")

        mine, other = best_s(ours, theirs)
        yield (
            f"{count:>7} instants, one every {step_s:g} s: sun and moon {mine * 1e3:.2f} ms, "
            f"SPA's sun {other * 1e3:.2f} ms, ratio {mine / other:.2f}"
        )
        pick = np.linspace(0, count - 1, TRUTH_INSTANTS).astype(int)
        spa = solarposition.spa_python(index[pick], latitude, longitude, how="numpy")
        yield from _sky_accuracy(utc_s[pick], spa["azimuth"].to_numpy(), spa["elevation"].to_numpy())


def _sky_accuracy(utc_s: np.ndarray, spa_azimuth: np.ndarray, spa_altitude: np.ndarray) -> Iterator[str]:
    """Largest angles on the sky from JPL's DE421 by skyfield, at the same instants."""
    from planner_core.time import ephemeris

    latitude, longitude = PLACE_DEG
    truth = _de421(utc_s)
    sun = ephemeris.sun_position(utc_s, latitude, longitude)
    moon = ephemeris.moon_position(utc_s, latitude, longitude)
    yield (
        f"        largest error against DE421: sun {_apart_deg(sun, truth['sun']):.4f}°, "
        f"moon {_apart_deg(moon, truth['moon']):.4f}°, SPA's sun "
        f"{_apart_deg((spa_azimuth, spa_altitude), truth['sun']):.4f}°"
    )


def _de421(utc_s: np.ndarray) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Azimuth and true altitude of sun and moon, degrees."""
    from skyfield.api import load, load_file, wgs84  # type: ignore[import-untyped,import-not-found]

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the package's Earth rotation file is out of date; it isn't used
        from skyfield_data import get_skyfield_data_path  # type: ignore[import-untyped,import-not-found]

        bodies = load_file(str(Path(get_skyfield_data_path()) / "de421.bsp"))
    epoch = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
    instants = [epoch + dt.timedelta(seconds=float(second)) for second in utc_s]
    times = load.timescale(builtin=True).from_datetimes(instants)
    place = bodies["earth"] + wgs84.latlon(*PLACE_DEG)
    positions = {}
    for body in ("sun", "moon"):
        altitude, azimuth, _ = place.at(times).observe(bodies[body]).apparent().altaz()
        positions[body] = (azimuth.degrees, altitude.degrees)
    return positions


def _apart_deg(one: tuple[np.ndarray, np.ndarray], other: tuple[np.ndarray, np.ndarray]) -> float:
    """Largest angle between directions given as azimuth and altitude in degrees."""

    def unit(azimuth_deg: np.ndarray, altitude_deg: np.ndarray) -> np.ndarray:
        turn, rise = np.radians(azimuth_deg), np.radians(altitude_deg)
        return np.stack([np.sin(turn) * np.cos(rise), np.cos(turn) * np.cos(rise), np.sin(rise)], axis=-1)

    a, b = unit(*one), unit(*other)
    return float(
        np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b), axis=-1), np.sum(a * b, axis=-1))).max()
    )


# ---------------------------------------------------------------- the picture

LIVE_S = 0.060  # compute_frames and review of 480 frames and 60 blocks
LARGE_S = 5.0  # of ten hundred blocks, or of 24 000 frames


def picture() -> Iterator[str]:
    """compute_frames and review by frames and blocks, also before what would help is tried; corners in the
    picture beside OpenCV's projectPoints.
    """
    from planner_core import compute_frames, review
    from planner_core.review.assess import assess

    for frames, blocks, limit_s in (
        (480, 60, LIVE_S),
        (480, 240, None),
        (480, 1_000, LARGE_S),
        (2_400, 60, None),
        (24_000, 60, LARGE_S),
    ):
        plan = _crowded_harbour(frames, blocks)

        def table(plan: Plan = plan) -> FrameTable:
            return compute_frames(plan)

        def both(plan: Plan = plan) -> object:
            return review(plan, compute_frames(plan))

        def untried(plan: Plan = plan) -> object:
            return assess(plan, compute_frames(plan))

        start = time.perf_counter()
        both()
        first_s = time.perf_counter() - start
        rounds = 9 if frames * blocks < 50_000 else 4
        table_s, untried_s, both_s = best_s(table, untried, both, rounds=rounds)
        aim = f", aim {limit_s * 1e3:.0f} ms" if limit_s is not None else ""
        yield (
            f"{frames:>6} frames, {blocks:>5} blocks: frames {table_s * 1e3:.1f} ms, with findings "
            f"{untried_s * 1e3:.1f} ms, with review {both_s * 1e3:.1f} ms{aim} "
            f"(the first time {first_s * 1e3:.0f} ms)"
        )
    yield from _corners_beside_opencv()


def _crowded_harbour(frames: int, blocks: int) -> Plan:
    """The harbour example with more boxes and posts strewn over the view, beside the beacon, up to so many
    blocks.
    """
    import attrs

    from planner_core import load_plan
    from planner_core.plan.model import Block

    plan = load_plan(Path(__file__).resolve().parent.parent / "example_scenes" / "harbour_light.plan.json")
    rng = np.random.default_rng(20270314)
    added = []
    for number in range(blocks - len(plan.blocks)):
        distance = float(np.exp(rng.uniform(np.log(15.0), np.log(400.0))))
        aside = float(rng.choice([rng.uniform(-0.8, 0.05), rng.uniform(0.32, 0.8)]))
        x, high = aside * distance, float(rng.uniform(0.02, 0.12)) * distance
        wide = float(rng.uniform(0.01, 0.08)) * distance
        added.append(
            Block(
                name=f"block {number + 1}",
                role="background",
                shape="post" if number % 3 == 0 else "box",
                centre_m=(x, distance, high / 2.0 - 2.0),
                size_m=(wide, wide, high),
                turn_deg=float(rng.uniform(-90.0, 90.0)),
            )
        )
    shoot = attrs.evolve(
        plan.shoot, frames=frames, interval_s=5760.0 / frames if frames > 480 else 12.0, write_s=0.05
    )
    return attrs.evolve(plan, blocks=(*plan.blocks, *added), shoot=shoot)


def _corners_beside_opencv() -> Iterator[str]:
    """The same corners of 60 blocks on 480 frames: OpenCV has one call a frame."""
    import cv2

    from planner_core import compute_frames
    from planner_core.picture import block_visibility
    from planner_core.picture.projection import delivered_crop, project_px
    from planner_core.place.blocking import bounding_boxes

    plan = _crowded_harbour(480, 60)
    frames = compute_frames(plan)
    corners = bounding_boxes(plan).corners_m.reshape(-1, 3)
    focal = delivered_crop(plan.camera, plan.clip).focal_px
    matrix = np.array(
        [[focal, 0.0, plan.clip.width_px / 2.0], [0.0, focal, plan.clip.height_px / 2.0], [0, 0, 1]]
    )
    turns = np.diag([1.0, -1.0, -1.0]) @ frames.camera_rotation.transpose(0, 2, 1)
    vectors = [cv2.Rodrigues(turn)[0] for turn in turns]
    shifts = -np.einsum("fij,fj->fi", turns, frames.camera_m)
    no_distortion = np.zeros(4)

    def theirs() -> list[np.ndarray]:
        return [
            cv2.projectPoints(corners, turn, shift, matrix, no_distortion)[0][:, 0]
            for turn, shift in zip(vectors, shifts, strict=True)
        ]

    mine_s, other_s = best_s(lambda: block_visibility.compute_visibility(plan, frames), theirs)
    px, depth = project_px(plan, corners, frames.camera_m[:, None], frames.camera_rotation[:, None])
    apart = np.abs(px - np.array(theirs()))[depth > 0.5].max()
    yield (
        f"{len(corners)} corners on 480 frames: rectangles and distances of blocks {mine_s * 1e3:.1f} ms; "
        f"projectPoints, with its derivatives, {other_s * 1e3:.1f} ms; ratio {mine_s / other_s:.2f}; "
        f"apart by {apart:.1e} px at most"
    )


# ---------------------------------------------------------------- metering

METERED_RATIO = 1.5  # compute_frames and review metered by the picture, over incident light


def metering() -> Iterator[str]:
    """compute_frames and review metered by the picture over those by incident light, aim: ratio 1.5; and
    readings beside the lit draft picture on sixty frames, aim: 0.3 stop.
    """
    import attrs

    from planner_core import compute_frames, review

    from . import lit_means

    by_picture = _crowded_harbour(480, 60)
    assert by_picture.exposure is not None
    exposure = attrs.evolve(by_picture.exposure, meter="ground", day_look_stops=0.0)
    by_ground = attrs.evolve(by_picture, exposure=exposure)
    picture_s, ground_s, frames_s, ground_frames_s = best_s(
        lambda: review(by_picture, compute_frames(by_picture)),
        lambda: review(by_ground, compute_frames(by_ground)),
        lambda: compute_frames(by_picture),
        lambda: compute_frames(by_ground),
    )
    yield (
        f"480 frames, 60 blocks, with review: {picture_s * 1e3:.1f} ms by the picture, {ground_s * 1e3:.1f} "
        f"ms by incident light, ratio {picture_s / ground_s:.2f}, aim {METERED_RATIO:g}; the frames alone "
        f"{frames_s * 1e3:.1f} and {ground_frames_s * 1e3:.1f} ms"
    )
    compared = list(lit_means.sixty())
    for one in compared:
        yield (
            f"{one.name}, frame {one.number}, sun at {one.sun_altitude_deg:.1f}°: drawn {one.drawn:.4f}, "
            f"read {one.read:.4f}, apart by {one.apart_stops:+.2f} stop"
        )
    worst = max(compared, key=lambda one: abs(one.apart_stops))
    yield f"{len(compared)} frames apart by {worst.apart_stops:+.2f} stop at most ({worst.name})"


# ---------------------------------------------------------------- the draft clip

CLIP_PLAN, CLIP_SIZE_PX = "harbour_light", (480, 270)


def preview() -> Iterator[str]:
    """A draft clip against the barest loop in Blender; aims: ratio 1.05 fast, 1.02 lit, with one process."""
    from . import preview_benchmark

    plan = _example(CLIP_PLAN)
    yield from preview_benchmark.measured(plan, ("fast", "lit"), (1, 4), CLIP_SIZE_PX, None)
    yield _kept_after_a_change(plan)
    if hasattr(os, "getloadavg"):
        yield f"load of the machine while this ran: {os.getloadavg()[0]:.1f}"


def _example(name: str) -> Plan:
    from planner_core import load_plan

    return load_plan(Path(__file__).resolve().parent.parent / "example_scenes" / f"{name}.plan.json")


def _kept_after_a_change(plan: Plan) -> str:
    """How many frames of a move in three poses stay as they are when the last pose changes."""
    import attrs

    from blender_addon.render import engines
    from blender_addon.render.preview import frame_keys
    from planner_core import compute_frames

    first, last = plan.move.poses[0], plan.move.poses[-1]
    halfway = attrs.evolve(first, at=0.5)
    turned = attrs.evolve(last, pan_deg=(last.pan_deg or 0.0) - 2.0)
    keys = []
    for end in (last, turned):
        changed = attrs.evolve(plan, move=attrs.evolve(plan.move, poses=(first, halfway, end)))
        key = frame_keys(compute_frames(changed), "lit", engines.choose_engine("lit"), CLIP_SIZE_PX)
        keys.append([key(number) for number in range(1, plan.shoot.frames + 1)])
    kept = sum(one == other for one, other in zip(*keys, strict=True))
    return f"last of three poses turned: {kept} of {plan.shoot.frames} frames kept (the first half rests)"


# ---------------------------------------------------------------- the add-on and the set-up script


def addon() -> Iterator[str]:
    """The add-on's work between redraws, beside the review it needs; aims: 100 ms an edit, 1 ms idle."""
    import attrs
    import bpy

    import blender_addon
    from blender_addon.state import handlers, live
    from planner_core import compute_frames, review
    from planner_core.edit import edits, kit, starter
    from planner_core.review.report import review_in_parts

    bpy.ops.wm.read_factory_settings(use_empty=True)
    blender_addon.register()
    scene = bpy.data.scenes[0]
    plan = starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))
    plan = attrs.evolve(plan, shoot=attrs.evolve(plan.shoot, frames=480))
    for number in range(60 - len(plan.blocks)):
        spot = kit.spot_by_bearing(plan, 230.0 + 1.9 * number, 60.0 + 9.0 * number)
        plan = kit.with_blocks(plan, kit.piece_blocks(plan, "box", spot, (9.0, 8.0, 5.0 + number % 7)))
    places = iter(np.tile([0.45, 0.5, 0.55], 1000))

    def edited() -> Plan:
        return edits.evolved(plan, "shoot.anchor.at", float(next(places)))

    def in_the_window() -> None:
        live.set_plan(scene, edited())
        frames = live.frames_of(scene)
        assert frames is not None
        list(review_in_parts(frames.plan, frames))

    def core_alone() -> None:
        changed = edited()
        review(changed, compute_frames(changed))

    window_s, core_s = best_s(in_the_window, core_alone)
    yield (
        f"an edit, 480 frames, {len(plan.blocks)} blocks: {1e3 * window_s:.1f} ms with the scene, "
        f"the core alone {1e3 * core_s:.1f} ms, ratio {window_s / core_s:.2f}, aim 100 ms"
    )
    live.remove(scene)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    empty, graph = bpy.data.scenes[0], bpy.context.evaluated_depsgraph_get()
    (idle_s,) = best_s(lambda: handlers.on_depsgraph_update(empty, graph))
    yield f"an update of a scene without a plan: {1e3 * idle_s:.4f} ms, aim 1 ms"
    blender_addon.unregister()


def setup() -> Iterator[str]:
    """What the set-up script adds to a verb once everything is installed; aim: half a second."""
    tools = Path(__file__).resolve().parent
    words = ["frames", "--help"]
    through = [sys.executable, "-I", str(tools / "bootstrap.py"), *words]
    alone = [sys.executable, "-I", str(tools / "duskrail.py"), *words]

    def run(command: list[str]) -> Callable[[], object]:
        return lambda: subprocess.run(command, capture_output=True, check=True)

    through_s, alone_s = best_s(run(through), run(alone), rounds=5)
    added_s = through_s - alone_s
    yield f"frames --help: {through_s:.2f} s through it, {alone_s:.2f} s alone, {added_s:.2f} s more"


# ---------------------------------------------------------------- running

# ---------------------------------------------------------------- the scout

SCOUT_REVIEWS = 24
SCOUT_PLACES = ((15, 30.0), (60, 30.0), (240, 30.0), (60, 15.0), (60, 60.0))  # blocks, metres around the rail


def scout() -> Iterator[str]:
    """Spots bounded, moves estimated and shots reviewed a minute of computing, as blocks and area grow, and
    the memory that it takes; aim: 20,000 bounded and 200 reviewed with 60 blocks.
    """
    import tracemalloc

    from planner_core.scout.search import Scout, Wishes

    for blocks, reach_m in SCOUT_PLACES:
        area = (-reach_m, -reach_m, reach_m, reach_m)
        search = Scout(_crowded_harbour(240, blocks), Wishes(area=area, reviews=SCOUT_REVIEWS))
        spent_s: dict[str, float] = {}
        now_s = time.process_time()
        for progress in search.run():
            before_s, now_s = now_s, time.process_time()
            spent_s[progress.stage] = spent_s.get(progress.stage, 0.0) + now_s - before_s
        tally, minute = search.tally, 60.0
        yield (
            f"{blocks:>4} blocks, {2 * reach_m:.0f} m square, {len(tally.places_m)} places: "
            f"{tally.candidates * minute / spent_s['places']:,.0f} bounded, "
            f"{tally.stills * minute / spent_s['framings']:,.0f} framings, "
            f"{tally.moves * minute / spent_s['moves']:,.0f} moves and "
            f"{tally.reviews * minute / spent_s['reviews']:,.0f} reviews a minute; "
            f"{sum(spent_s.values()):.0f} s in all"
        )
    tracemalloc.start()
    for reviews in (SCOUT_REVIEWS // 2, 2 * SCOUT_REVIEWS):
        tracemalloc.reset_peak()
        for _ in Scout(
            _crowded_harbour(240, 60), Wishes(area=(-30.0, -30.0, 30.0, 30.0), reviews=reviews)
        ).run():
            pass
        yield f"     {reviews} reviews: {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB at most"
    tracemalloc.stop()


# ---------------------------------------------------------------- the log

LOG_FRAMES = (1_000, 5_000)


def log() -> Iterator[str]:
    """Frames on a card read and their sequence found, beside piexif on the same files, and the memory that it
    takes; aim: 5,000 in ten seconds, and memory that grows by what is kept of a frame alone.
    """
    import tempfile
    import tracemalloc

    import piexif  # type: ignore[import-untyped,import-not-found]

    from planner_core.log.card import read_card
    from planner_core.log.sequence import find_sequence
    from tests.shoots import frame_bytes

    start = dt.datetime(2027, 9, 11, 19, 0)
    settings = (5.6, 0.01, 100.0)
    for count in LOG_FRAMES:
        with tempfile.TemporaryDirectory() as folder:
            paths = [Path(folder) / f"S{k:05d}.jpg" for k in range(count)]
            for k, path in enumerate(paths):
                clock = start + dt.timedelta(seconds=5 * k)
                path.write_bytes(frame_bytes(clock, settings) + bytes(100_000) + b"\xff\xd9")
            began_s, cpu_s = time.perf_counter(), time.process_time()
            sequence = find_sequence(read_card(folder), 5.0)
            took_s, cpu_s = time.perf_counter() - began_s, time.process_time() - cpu_s
            began_s = time.process_time()
            for path in paths:
                piexif.load(str(path))
            beside_s = time.process_time() - began_s
            tracemalloc.start()
            read_card(folder)
            peak = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
        assert sequence is not None
        assert sequence.count == count
        yield (
            f"{count:,} files: {took_s:.1f} s ({cpu_s:.1f} s of computing; piexif {beside_s:.1f} s), "
            f"{peak / 1e6:.1f} MB at most, {peak / count:.0f} bytes a frame"
        )


# ---------------------------------------------------------------- terrain

TILE_SIDE = 3601  # heights along one side of a tile of an arc-second
TILE_S, TILE_MB = 3.0, 500.0


def terrain() -> Iterator[str]:
    """A tile of an arc-second into the plan; aims: 3 s and 500 MB."""
    import tempfile
    import tracemalloc

    from planner_core.terrain.grids import load_grids
    from planner_core.terrain.land import with_land

    plan = _example("harbour_light")
    with tempfile.TemporaryDirectory() as folder:
        tile = Path(folder) / "N43W004.hgt"
        across = np.linspace(0.0, 40.0, TILE_SIDE, dtype=np.float32)
        x, y = np.meshgrid(across, across)
        heights = 900.0 + 500.0 * np.sin(y) * np.cos(1.3 * x) + 300.0 * np.sin(3.0 * y + x)
        heights.astype(">i2").tofile(tile)
        (took_s,) = best_s(lambda: with_land(plan, load_grids([tile])), rounds=3)
        tracemalloc.start()
        made = len(with_land(plan, load_grids([tile])).plan.blocks) - len(plan.blocks)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    yield (
        f"{TILE_SIDE} × {TILE_SIDE} heights read and put into a plan as {made} blocks in {took_s:.2f} s "
        f"(aim {TILE_S:g}), {peak / 1e6:.0f} MB at most (aim {TILE_MB:g})"
    )


SECTIONS: dict[str, Callable[[], Iterator[str]]] = {
    "sky": sky,
    "picture": picture,
    "metering": metering,
    "preview": preview,
    "scout": scout,
    "log": log,
    "terrain": terrain,
    "addon": addon,
    "setup": setup,
}


def machine() -> str:
    """What the figures were measured on."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return f"{platform.machine()}, {cores} cores, Python {platform.python_version()}, numpy {np.__version__}"


def main(words: Sequence[str] | None = None) -> int:
    """Run the named sections, or all of them."""
    parser = argparse.ArgumentParser(prog="benchmark", description=__doc__.splitlines()[0])
    parser.add_argument("sections", nargs="*", metavar="SECTION", help=", ".join(SECTIONS))
    wanted = parser.parse_args(words).sections or list(SECTIONS)
    unknown = [name for name in wanted if name not in SECTIONS]
    if unknown:
        parser.error(f"{unknown[0]} is not a section; there are {', '.join(SECTIONS)}")
    print(machine())
    for name in wanted:
        print(f"\n{name}: {(SECTIONS[name].__doc__ or '').splitlines()[0]}")
        for line in SECTIONS[name]():
            print(f"  {line}", flush=True)
    return 0


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    os._exit(code)  # Blender's module may wait for itself on the way out

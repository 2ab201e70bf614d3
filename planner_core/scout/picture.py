"""The finds as a picture: first, event and last frame of each, drawn from the blocks, and a map."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from planner_core.evening.moonlight import LEAST_ELONGATION_DEG
from planner_core.frames import FrameTable
from planner_core.light import daylight, sky
from planner_core.light.colour import LUMINANCE, sun_tint
from planner_core.light.exposure import settings_ev100
from planner_core.picture import composition, metering
from planner_core.place.ground import outline_m
from planner_core.place.surface_colours import block_colour, level_ground_colour
from planner_core.plan.model import Plan
from planner_core.rig import geometry
from planner_core.scout import raster
from planner_core.scout.finds import Find
from planner_core.scout.raster import LARGE, Colour, Image
from planner_core.scout.search import Scout
from planner_core.time import ephemeris
from planner_core.time.events import SUN_RISES_AT_DEG

Array = NDArray[np.float64]

PICTURE_PX = 384  # across, of each picture
GAP_PX, HEAD_PX = 10, 30
MAP_LINES_PX = (320, 720)
PAPER, INK, QUIET = (24, 26, 30), (236, 232, 222), (150, 150, 146)
WHITE_STOPS = 3.5  # over middle grey
GREY = 0.18
# From worth little to worth much: a dark violet over red to pale yellow, lighter all the way
SCALE = np.array([(60, 30, 90), (140, 40, 100), (210, 80, 70), (245, 150, 70), (252, 230, 150)], dtype=float)
FIND_COLOUR, RAIL_COLOUR = (255, 255, 255), (90, 200, 255)
MAP_ROOM = 0.15  # around the places, of their extent
SUBJECT: Colour = (214, 160, 84)
MAP_COLOURS: dict[str, Colour] = {
    "ground": (52, 54, 50),
    "water": (34, 52, 70),
    "subject": SUBJECT,
    "foreground": (118, 104, 84),
    "background": (92, 94, 98),
}


class Told(Protocol):
    """What is drawn: finds, and the search that they come from."""

    @property
    def finds(self) -> tuple[Find, ...]: ...
    @property
    def scout(self) -> Scout: ...


Draw = Callable[[FrameTable, tuple[int, ...], int], list[Image]]  # frames, 0-based, so many pixels across


def finds_png(report: Told, draw: Draw | None = None) -> bytes:
    """The contact sheet of the finds and the map below it, as a PNG; pictures are drawn from the blocks by
    the core, or by another `draw`.
    """
    tall = _picture_lines(report.scout.plan)
    wide = 3 * PICTURE_PX + 4 * GAP_PX
    row = HEAD_PX + tall + GAP_PX
    from_above = map_image(report, wide - 2 * GAP_PX)
    tall_in_all = GAP_PX + len(report.finds) * row + HEAD_PX + len(from_above) + GAP_PX
    image = raster.canvas(wide, tall_in_all, PAPER)
    top = GAP_PX
    for rank, find in enumerate(report.finds, start=1):
        _find_row(image, find, rank, top, draw or frame_pictures)
        top += row
    _legend(image, report.scout.tally.worth, GAP_PX, top + 10)
    raster.paste(image, from_above, GAP_PX, top + HEAD_PX)
    return raster.png(image)


def _find_row(image: Image, find: Find, rank: int, top: int, draw: Draw) -> None:
    frames = find.reviewed.measured.frames
    end = raster.write(image, f"{rank}", GAP_PX, top + 6, FIND_COLOUR, LARGE)
    points = f"{find.points:.0f}"
    right = image.shape[1] - GAP_PX - raster.text_px(points, LARGE)
    raster.write(image, points, right, top + 6, FIND_COLOUR, LARGE)
    raster.write(image, _fitting(_capital(find.name), right - end - 24), end + 12, top + 10, INK)
    pictures = draw(frames, shown_frames(frames), PICTURE_PX)
    for index, picture in enumerate(pictures):
        raster.paste(image, picture, GAP_PX + index * (PICTURE_PX + GAP_PX), top + HEAD_PX)


def _legend(image: Image, worth: Array, left: int, top: int) -> None:
    """What the map's colours mean."""
    end = raster.write(image, "Where to stand: what a shot from there could be worth", left, top, QUIET)
    if not len(worth):
        return
    end = raster.write(image, f"{worth.min():.0f}", end + 20, top, QUIET) + 8
    bar = worth_colours(np.linspace(0.0, 1.0, 120))
    image[top - 1 : top + 11, end : end + 120] = np.round(bar)
    raster.write(image, f"{worth.max():.0f}", end + 128, top, QUIET)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _fitting(text: str, room_px: int) -> str:
    """As much of a text as there is room for."""
    if raster.text_px(text) <= room_px:
        return text
    while text and raster.text_px(f"{text}...") > room_px:
        text = text[:-1]
    return f"{text.rstrip(' ,')}..."


def shown_frames(frames: FrameTable) -> tuple[int, int, int]:
    """First, event and last frame, 0-based: the event is the plan's anchor, else the sun on the horizon, else
    the middle.
    """
    last, anchor = len(frames) - 1, frames.plan.shoot.anchor
    crosses = np.flatnonzero(np.diff(np.sign(frames.sun_true_altitude_deg - SUN_RISES_AT_DEG)))
    on_horizon = int(crosses[0]) if len(crosses) else last // 2
    return 0, round(anchor.at * last) if anchor is not None else on_horizon, last


# ---------------------------------------------------------------- pictures of frames


def _picture_lines(plan: Plan) -> int:
    return max(1, round(PICTURE_PX * plan.clip.height_px / plan.clip.width_px))


def frame_pictures(frames: FrameTable, at: tuple[int, ...], columns: int) -> list[Image]:
    """Some frames drawn from the blocks by rays, exposed as planned; without a plan for the exposure, for
    their average.
    """
    plan = frames.plan
    lines = max(1, round(columns * plan.clip.height_px / plan.clip.width_px))
    rows = np.array(at, dtype=np.intp)
    grid = metering.read_grid(frames, rows, (columns, lines))
    light = metering.sky_light(frames, rows)
    rays = metering.cell_directions(plan, frames.camera_rotation[rows], (columns, lines))
    tint = _tints(plan, grid, light, frames, rays)
    seen = grid.luminance_cd_m2 * grid.let_through
    if frames.ramp is None or plan.exposure is None:
        grey = np.exp(np.mean(np.log(np.maximum(seen, 1e-9)), axis=(1, 2)))
    else:
        ramp = frames.ramp
        ev100 = settings_ev100(
            ramp.f_number[rows], ramp.shutter_s[rows], ramp.iso[rows], plan.exposure.nd_stops
        )
        grey = daylight.luminance_from_ev100(ev100)
    shown = seen[..., None] * tint + _moon(frames, grid, rays)
    return list(_developed(GREY * shown / grey[:, None, None, None]))


def _moon(frames: FrameTable, grid: metering.Grid, rays: Array) -> Array:
    """The light of the moon's disc in each cell where the sky is free, cd/m² by its tint, (n, lines, columns,
    3); as evenly lit as it is on average, whatever its phase.
    """
    rows, shape = grid.at, grid.is_sky.shape
    altitude, lit = frames.moon_altitude_deg[rows], frames.moon_lit_fraction[rows]
    elongation = ephemeris.elongation_deg(frames.utc_s[rows])
    ev100 = daylight.moon_disc_ev100(altitude, elongation, lit) - np.log2(frames.plan.shoot.cloud_divisor)
    level = daylight.luminance_from_ev100(ev100) * lit * (elongation >= LEAST_ELONGATION_DEG)
    towards = np.einsum("nki,ni->nk", rays, frames.moon_direction[rows])
    off_deg = np.degrees(np.arccos(np.clip(towards, -1.0, 1.0)))
    cell_deg = composition.view_deg(frames.plan)[0] / shape[2]
    covered = np.clip((daylight.MOON_SEMIDIAMETER_DEG - off_deg) / cell_deg + 0.5, 0.0, 1.0)
    disc = (covered * level[:, None]).reshape(shape) * grid.is_sky * grid.let_through
    return np.asarray(disc[..., None] * sun_tint(np.maximum(altitude, 0.0))[:, None, None])


def _tints(plan: Plan, grid: metering.Grid, light: sky.SkyLight, frames: FrameTable, rays: Array) -> Array:
    """The colour of each cell, of luminance 1, (n, lines, columns, 3)."""
    shape = grid.luminance_cd_m2.shape
    above = _coloured(sky.radiances(light, rays)).reshape(*shape, 3)
    surfaces = np.array(
        [
            *(block_colour(plan, index) for index in range(len(plan.blocks))),
            level_ground_colour(),
            (1.0, 1.0, 1.0),
        ]
    )  # so that −2 is the level ground, and −1 the sky
    falls = sky.on_level_ground(light, frames.sun_direction[grid.at], frames.moon_direction[grid.at])
    below = _coloured(_coloured(surfaces)[grid.met] * _coloured(falls)[:, None, None])
    water = np.array([*(block.role == "water" for block in plan.blocks), False, False])[grid.met]
    below = np.where(water[..., None], _coloured(0.5 * below + 0.5 * _coloured(falls)[:, None, None]), below)
    return np.where(grid.is_sky[..., None], above, below)


def _coloured(rgb: Array) -> Array:
    return rgb / np.maximum(rgb @ LUMINANCE, 1e-12)[..., None]


def _developed(linear: Array) -> Image:
    """Linear light to a picture: highlights roll off to white at WHITE_STOPS over middle grey (Reinhard and
    others, *SIGGRAPH 2002*, eq. 4), then the curve of sRGB (IEC 61966-2-1).
    """
    white = GREY * 2.0**WHITE_STOPS
    toned = np.clip(linear * (1.0 + linear / white**2) / (1.0 + linear), 0.0, 1.0)
    encoded = np.where(
        toned <= 0.0031308, 12.92 * toned, 1.055 * np.maximum(toned, 1e-9) ** (1 / 2.4) - 0.055
    )
    return np.round(encoded * 255.0).astype(np.uint8)


# ---------------------------------------------------------------- the map


def map_image(report: Told, columns: int) -> Image:
    """The place from above, the scene's +Y up: blocks, places by worth, the finds with rail and view. As high
    as the places ask for, within MAP_LINES_PX.
    """
    scout = report.scout
    spots = [scout.tally.places_m[:, :2], *(np.array([f.reviewed.shot.place_m[:2]]) for f in report.finds)]
    there = np.concatenate(spots)
    if not len(there):
        there = scout.planned_place()
    low, high = there.min(axis=0), there.max(axis=0)
    room = MAP_ROOM * max(high - low) + 4.0
    low, high = low - room, high + room
    lines = int(np.clip(columns * (high[1] - low[1]) / (high[0] - low[0]), *MAP_LINES_PX))
    scale = float(min(columns / (high[0] - low[0]), lines / (high[1] - low[1])))
    middle = (low + high) / 2.0

    def px(points: Array) -> Array:
        away = (np.asarray(points, dtype=np.float64)[..., :2] - middle) * scale
        return np.stack([columns / 2.0 + away[..., 0], lines / 2.0 - away[..., 1]], axis=-1)

    image = raster.canvas(columns, lines, (30, 32, 34))
    solid = [block for block in scout.plan.blocks if block.shape != "ridge"]
    for block in sorted(solid, key=lambda block: block.role not in ("ground", "water")):
        raster.fill(image, px(outline_m(scout.plan, block)), MAP_COLOURS[block.role])
    _paint_worth(image, px(scout.tally.places_m), scout.tally.worth, max(1.0, scout.cell_m * scale))
    for rank, find in reversed(list(enumerate(report.finds, start=1))):
        _mark_find(image, find, rank, px)
    _point_at_subject(image, px((scout.aim.low + scout.aim.high) / 2.0))
    _scale_and_north(image, scale, scout.plan.site.scene_north_deg)
    return image


def worth_colours(worth: Array) -> Array:
    """Colours (n, 3), 0 to 255, of what places are worth (n,), from the lowest of them to the highest."""
    low, high = float(worth.min()), float(worth.max())
    position = (worth - low) / max(high - low, 1e-9) * (len(SCALE) - 1)
    first = np.minimum(position.astype(int), len(SCALE) - 2)
    return np.asarray(SCALE[first] + (position - first)[:, None] * (SCALE[first + 1] - SCALE[first]))


def _paint_worth(image: Image, px: Array, worth: Array, side: float) -> None:
    if not len(worth):
        return
    colours = worth_colours(worth)
    half = max(side / 2.0, 0.6)
    for (x, y), colour in zip(px, colours, strict=True):
        left, right = round(max(x - half, 0)), round(x + half)
        top, bottom = round(max(y - half, 0)), round(y + half)
        area = image[top:bottom, left:right]
        area[:] = np.round(0.4 * area + 0.6 * colour)


def _mark_find(image: Image, find: Find, rank: int, px: Callable[[Array], Array]) -> None:
    frames = find.reviewed.measured.frames
    place = np.array(find.reviewed.shot.place_m)
    for frame in (0, -1):
        ahead = geometry.direction(frames.lens_bearing_deg[frame], 0.0, find.plan.site.scene_north_deg)
        start = frames.camera_m[frame]
        raster.line(image, px(start), px(start) + np.array([ahead[0], -ahead[1]]) * 44.0, QUIET, 1.5)
    raster.line(image, px(frames.camera_m[0]), px(frames.camera_m[-1]), RAIL_COLOUR, 3.0)
    x, y = px(place)
    raster.disc(image, x, y, 12.0, (20, 20, 20))
    raster.disc(image, x, y, 11.0, FIND_COLOUR)
    text = str(rank)
    raster.write(
        image, text, round(x - raster.text_px(text, LARGE) / 2.0) + 1, round(y) - 7, (20, 20, 20), LARGE
    )


def _point_at_subject(image: Image, px: Array) -> None:
    """Where the subject is beyond the map, an arrow at its edge."""
    lines, columns = image.shape[:2]
    middle = np.array([columns / 2.0, lines / 2.0])
    if ((px >= 0.0) & (px <= 2.0 * middle)).all():
        return
    ahead = (px - middle) / np.linalg.norm(px - middle)
    reach = float(np.min((middle - 16.0) / np.maximum(np.abs(ahead), 1e-9)))
    tip = middle + reach * ahead
    aside = np.array([-ahead[1], ahead[0]])
    raster.fill(
        image, np.array([tip, tip - 14.0 * ahead + 6.0 * aside, tip - 14.0 * ahead - 6.0 * aside]), SUBJECT
    )
    text = "the subject"
    left = np.clip(
        tip[0] - 30.0 * ahead[0] - raster.text_px(text) / 2.0, 4, columns - raster.text_px(text) - 4
    )
    raster.write(image, text, int(left), int(tip[1] - 24.0 * ahead[1] - 3), SUBJECT)


def _scale_and_north(image: Image, scale: float, north_deg: float) -> None:
    lines, columns = image.shape[:2]
    metres = next((m for m in (1, 2, 5, 10, 20, 50, 100, 200, 500) if m * scale >= 50.0), 1000)
    left, bottom = 10.0, lines - 12.0
    raster.line(image, np.array([left, bottom]), np.array([left + metres * scale, bottom]), INK, 2.0)
    raster.write(image, f"{metres} m", int(left), int(bottom) - 16, INK)
    turn = np.radians(-north_deg)
    up = np.array([np.sin(turn), -np.cos(turn)])
    foot = np.array([columns - 24.0, lines - 26.0])
    raster.line(image, foot - 10.0 * up, foot + 10.0 * up, INK, 2.0)
    tip = foot + 10.0 * up
    raster.disc(image, tip[0], tip[1], 3.0, INK)
    raster.write(image, "N", int(foot[0] + 16.0 * up[0]) - 2, int(foot[1] + 18.0 * up[1]) - 3, INK)

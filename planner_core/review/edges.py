"""Findings about a place that ends inside the picture: skylines cut off, bare ground beyond.

Limits, ours: what a person sees as a cliff or as bare ground where none should be.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner_core.frames import FrameTable
from planner_core.maths.angles import compass_deg
from planner_core.maths.runs import span
from planner_core.picture.picture_rays import LEVEL_GROUND
from planner_core.picture.projection import project_px
from planner_core.picture.surfaces import Surfaces
from planner_core.picture.view import View
from planner_core.place import blocking
from planner_core.place.skyline import skyline_at
from planner_core.plan.model import Plan
from planner_core.review.findings import Finding, facts
from planner_core.rig import geometry

Array = NDArray[np.float64]

CLIFF_DEG = 0.3  # of a skyline's end over what goes on beyond it
BEYOND_DEG = 0.3  # so far past the end that is looked at
BARE_SHARE = 0.02  # of the picture, of level ground that nobody blocked out
LEAST_DROP_M = 0.3  # from a ground block to the level ground beyond: less is no edge


def review_edges(plan: Plan, frames: FrameTable) -> list[Finding]:
    """Findings of this topic."""
    return [*_skyline_ends(plan, frames), *_ground_ends(plan, frames.view)]


# ---------------------------------------------------------------- the skyline


def _skyline_ends(plan: Plan, frames: FrameTable) -> list[Finding]:
    ridges = [index for index, block in enumerate(plan.blocks) if block.shape == "ridge"]
    if not ridges:
        return []
    eye = frames.camera_m[len(frames) // 2]
    findings = []
    for index in ridges:
        for side, end in _ends(plan, index):
            where = span(_in_picture(plan, frames, end))
            if where is None:
                continue
            bearing, altitude = (
                float(v) for v in geometry.bearing_and_altitude(end - eye, plan.site.scene_north_deg)
            )
            outward = -BEYOND_DEG if side == "left" else BEYOND_DEG
            heights, blocks = skyline_at(plan, eye, [bearing - outward, bearing + outward])
            if int(blocks[0]) == index and altitude - heights[1] >= CLIFF_DEG:
                findings.append(_cut_off(plan, index, side, bearing, altitude - float(heights[1]), where))
    return findings


def _ends(plan: Plan, index: int) -> list[tuple[str, Array]]:
    """The tops of a ridge's two ends; none where it goes all round."""
    crest = blocking.block_mesh(plan, plan.blocks[index]).vertices_m
    crest = crest[len(crest) // 2 :]
    bearings = [bearing for bearing, _ in plan.blocks[index].skyline_deg or ()]
    if bearings[-1] - bearings[0] >= 360.0 - BEYOND_DEG:
        return []
    return [("left", crest[0]), ("right", crest[-1])]


def _in_picture(plan: Plan, frames: FrameTable, point: Array) -> NDArray[np.bool_]:
    xy, depth = project_px(plan, point, frames.camera_m, frames.camera_rotation)
    with np.errstate(invalid="ignore"):
        inside = (xy >= 0.0) & (xy <= [plan.clip.width_px, plan.clip.height_px])
    return np.asarray(inside.all(axis=1) & (depth > 0.0))


def _cut_off(
    plan: Plan, index: int, side: str, bearing: float, cliff_deg: float, where: tuple[int, int]
) -> Finding:
    name = blocking.block_label(plan, index)
    return Finding(
        code="skyline-ends",
        level="note",
        frames=where,
        value=cliff_deg,
        limit=CLIFF_DEG,
        unit="°",
        facts=facts(
            block=name, side=side, bearing=(float(compass_deg(bearing)), "°"), cliff=(cliff_deg, "°")
        ),
        blocks=(name,),
    )


# ---------------------------------------------------------------- the ground


def _ground_ends(plan: Plan, view: View) -> list[Finding]:
    """Ground or water whose far end shows, with bare level ground from there to the horizon."""
    flat = [index for index, block in enumerate(plan.blocks) if block.role in ("ground", "water")]
    if not flat:
        return []
    shown = view.surfaces
    worst: dict[int, tuple[float, int, float]] = {}
    for place in range(len(shown.at)):
        for index, share, distance in _bare_beyond(shown, place, set(flat)):
            if share >= BARE_SHARE and share > worst.get(index, (0.0, 0, 0.0))[0]:
                worst[index] = share, place, distance
    return [
        _nothing_behind(plan, index, share, shown.at[place], distance)
        for index, (share, place, distance) in worst.items()
        if _shows_an_edge(plan, index)
    ]


def _bare_beyond(shown: Surfaces, place: int, flat: set[int]) -> list[tuple[int, float, float]]:
    """Of each flat block at a place: how much of the picture is bare ground seen over its far end, and how
    far away that end is.
    """
    met, distance = shown.met[place][::-1].T.ravel(), shown.distance_m[place][::-1].T.ravel()
    cell = np.arange(len(met))
    last = np.maximum.accumulate(np.where(met == LEVEL_GROUND, 0, cell))  # what is met below, or beside it
    begins = cell - cell % shown.met.shape[1]  # each column's lowest cell
    over = np.flatnonzero((met == LEVEL_GROUND) & (last >= begins) & np.isin(met[last], list(flat)))
    below = met[last[over]]
    return [
        (
            int(index),
            np.count_nonzero(below == index) / len(met),
            float(distance[last[over][below == index]].min()),
        )
        for index in dict.fromkeys(below.tolist())
    ]


def _shows_an_edge(plan: Plan, index: int) -> bool:
    """Whether a flat block's end is seen: water's is, ground's where the land drops there."""
    block = plan.blocks[index]
    top = float(blocking.block_mesh(plan, block).vertices_m[:, 2].max())
    return block.role == "water" or top - blocking.ground_level_m(plan) > LEAST_DROP_M


def _nothing_behind(plan: Plan, index: int, share: float, at: float, distance: float) -> Finding:
    name = blocking.block_label(plan, index)
    frame = round(float(at) * (plan.shoot.frames - 1)) + 1
    return Finding(
        code="ground-ends",
        level="note",
        frames=(frame, frame),
        value=share,
        limit=BARE_SHARE,
        unit="share of the picture",
        facts=facts(
            block=name,
            role=plan.blocks[index].role,
            share=share,
            frame=frame,
            distance=(distance, "m"),
        ),
        blocks=(name,),
    )

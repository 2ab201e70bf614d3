"""Stars and the Milky Way in the scene of a draft clip: objects that turn with the sky and add their light.

Nothing of it is made where no frame is exposed long enough to show one.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from planner_core.draft import milky_way, sky, stars
from planner_core.frames import FrameTable
from planner_core.rig import geometry

from .. import compat
from . import keyframes, materials, parts
from .nodes import Graph

Array = NDArray[np.float64]

PART, BAND_PART, MATERIAL_PART = "stars", "milky way", "stars material"
GLOW = "duskrail_starlight"  # of the faces: light of each star, as it is where settings make a lux 1
LEVEL = "duskrail_star_level"  # of the world, keyed: what the settings make of a lux
FAR_M = 95_000.0  # beyond the ground's edge, within the lens's reach
SPOT_PX = 1.5  # side of a star's square in the picture: less would fall between a draft's samples
COMMON_WIDTH_PX = 1920.0
BAND_STEPS, BAND_ROWS = 120, 33  # corners along the band of the Milky Way and across it
SETTING = stars.SETTING_RISE


def spot_rad(frames: FrameTable, width_px: float) -> float:
    """Angle of a star's square in a picture so wide, in its middle."""
    camera = frames.plan.camera
    return SPOT_PX * camera.sensor_width_mm / camera.focal_length_mm / width_px


def star_squares(directions: Array, side_rad: float) -> Array:
    """Corners (n, 4, 3) of squares of that side around directions (n, 3), on the unit sphere's scale."""
    pole = np.where(np.abs(directions[:, 2:]) > 0.9, [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])
    across = np.cross(pole, directions)
    across /= np.linalg.norm(across, axis=1)[:, None]
    upward = np.cross(directions, across)
    half = side_rad / 2.0
    return np.stack(
        [directions + half * (x * across + y * upward) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))],
        axis=1,
    )


def draw_stars(
    scene: bpy.types.Scene, frames: FrameTable, width_px: float = COMMON_WIDTH_PX
) -> bpy.types.Object | None:
    """The stars that a picture so wide may show. The scene's light must have been drawn before."""
    side = spot_rad(frames, width_px)
    directions, levels = stars.seen(frames, side**2)
    for part in (PART, BAND_PART):
        old = parts.object_of(scene, part)
        if old is not None:
            parts.remove(old)
    if milky_way.shows(frames):
        _add_to_sky(scene, frames, BAND_PART, "Milky Way", _band_mesh(frames))
    if not len(levels):
        return None
    mesh = bpy.data.meshes.new("Stars")
    corners = FAR_M * star_squares(directions, side)
    # faces look inwards, at the camera
    faces = np.arange(4 * len(levels)).reshape(-1, 4)[:, ::-1]
    mesh.from_pydata(corners.reshape(-1, 3).tolist(), [], faces.tolist())
    glow: Any = mesh.attributes.new(GLOW, "FLOAT_VECTOR", "FACE")
    glow.data.foreach_set("vector", levels.astype(np.float32).ravel())
    return _add_to_sky(scene, frames, PART, "Stars", mesh)


def _band_mesh(frames: FrameTable) -> bpy.types.Mesh:
    """The band as a belt round the first frame's sky, with its light at the corners."""
    site = frames.plan.site
    rotation = stars.sky_rotation(
        frames.utc_s[0], site.latitude_deg, site.longitude_deg, site.scene_north_deg
    )
    places, light = milky_way.belt(BAND_STEPS, BAND_ROWS)
    corners = FAR_M * (places.reshape(-1, 3) @ rotation.T)
    number = np.arange(BAND_STEPS * BAND_ROWS).reshape(BAND_STEPS, BAND_ROWS)
    onward = np.roll(number, -1, axis=0)
    faces = np.stack([number[:, :-1], number[:, 1:], onward[:, 1:], onward[:, :-1]], axis=-1)
    mesh = bpy.data.meshes.new("Milky Way")
    mesh.from_pydata(corners.tolist(), [], faces.reshape(-1, 4).tolist())
    glow: Any = mesh.attributes.new(GLOW, "FLOAT_VECTOR", "POINT")
    level = np.pi * light.reshape(-1, 1) * milky_way.TINT / frames.plan.shoot.cloud_divisor**3
    glow.data.foreach_set("vector", level.astype(np.float32).ravel())
    return mesh


def _add_to_sky(
    scene: bpy.types.Scene, frames: FrameTable, part: str, name: str, mesh: bpy.types.Mesh
) -> bpy.types.Object:
    """A mesh of lights as an object that turns with the sky."""
    mesh.materials.append(_material())
    mesh.update()
    thing = parts.new_object(part, name, mesh, parts.collection_of(scene, "light", "Light"))
    thing.location = geometry.head_middle_m(frames.plan).tolist()
    thing.rotation_mode = "AXIS_ANGLE"
    thing.rotation_axis_angle = (0.0, *stars.sky_pole(frames))  # type: ignore[assignment]
    keyframes.write_curve(thing, "rotation_axis_angle", -np.radians(stars.turned_deg(frames)), 0)
    for ray_kind in ("diffuse", "glossy", "transmission", "volume_scatter", "shadow"):
        setattr(thing, f"visible_{ray_kind}", False)
    parts.assign(thing, hide_select=True)
    thing.display.show_shadows = False
    world: Any = scene.world
    per_lux = sky.picture_light(frames).level_per_lux
    world[LEVEL] = float(per_lux[0])
    keyframes.write_curve(world, f'["{LEVEL}"]', per_lux)
    return thing


def _material() -> bpy.types.Material:
    """Adds each star's light to the sky behind it, less what the air takes (stars.through_air)."""
    for existing in bpy.data.materials:
        if existing.is_editable and parts.part_of(existing) == MATERIAL_PART:
            return existing
    made = bpy.data.materials.new("Draft stars")
    made[parts.PART_KEY] = MATERIAL_PART
    graph = Graph(compat.use_nodes(made))
    maths = graph.maths
    rise = maths("MULTIPLY", graph.apart(graph.node("NewGeometry").outputs["Incoming"])[2], -1.0)
    # Circular 171's way through the air: X (cos s − u) + cos s, with cos² s = 1 − (X cos h / (X + 1))²
    shell = float(stars.AIR_SHELL)
    squared = maths("MULTIPLY", rise, rise)
    falloff = (shell / (shell + 1.0)) ** 2
    slant = maths("SQRT", maths("MULTIPLY_ADD", squared, falloff, 1.0 - falloff))
    mass = maths("SUBTRACT", maths("MULTIPLY", slant, shell + 1.0), maths("MULTIPLY", rise, shell))
    through = maths("EXPONENT", maths("MULTIPLY", mass, -stars.AIR_DEPTH))
    fade = maths("DIVIDE", maths("SUBTRACT", rise, SETTING[0]), SETTING[1] - SETTING[0], clamp=True)
    strength = maths("MULTIPLY", maths("MULTIPLY", through, fade), graph.number_of("VIEW_LAYER", LEVEL))
    star = graph.node("Emission", Color=graph.vector_of("GEOMETRY", GLOW), Strength=strength)
    graph.end(graph.both(star.outputs[0], graph.node("BsdfTransparent").outputs[0]))
    made.surface_render_method = "BLENDED"
    materials.lights_nothing(made)
    return made

"""The fast look: Workbench draws flat colours, and the colours are worked out here, corner by corner.

Each corner of each face gets its draft colour lit by sun, sky, ground and lamps as the frame's settings
record them. Workbench adds what needs geometry: what is hidden, and the shadows of the sun.
"""

from __future__ import annotations

from typing import Any

import bmesh
import bpy
import numpy as np
from numpy.typing import NDArray

from planner_core import lamps, sky, stars
from planner_core.frames import FrameTable

from . import blocking, materials, nightlights, parts, starfield

Array = NDArray[np.float64]

COLOURS = "Duskrail fast look"
LEAST_DOME_M = 8000.0
DOME_AROUND, DOME_RINGS = 96, 28
DISC_SHARE = 0.98  # of the dome's radius
DISC_SIDES = 24
# rings around the middle of the sun, in its radii: the disc's soft edge, and the veil around it
SUN_RINGS = np.array([0.0, 0.85, 1.15, 1.6, 2.4, 3.6, 5.5, 8.0, 12.0, 18.0, 27.0, 40.0])
MOON_RINGS = np.array([0.0, 0.9, 1.0])
BRIGHTEST = 8.0  # more would overflow in Workbench, and is white anyway
EDGE_COLOUR = (0.02, 0.02, 0.025)
NEAREST_M = 0.1  # nothing is nearer to the lens; depths far away are told apart the better
DIRECTIONS = 400
CORNER_SHADE = 0.30  # how much darker a wall is at its foot: ours
GROUND_ALBEDO = 0.18
FOCUS = 0.01  # over which rise of the sun above a face its shadow fades in
WATER_IOR_F0 = 0.02  # mirrored straight down, Fresnel for water
SWELL = (
    0.004  # mean square slope of a harbour's water in little wind; value from memory of Cox and Munk (1954)
)
GLITTER_MOST = 6.0  # of the sun's light, mirrored by a corner that the path crosses
WATER_FAN_DEG = 1.0
WATER_STEPS_M = 0.8 * 1.17 ** np.arange(44)
WAVES = 0.6  # how unevenly the water glitters: ours


class FastLook:
    """A drawn scene prepared for the fast look. show(frame) puts the frame's colours and shadows in."""

    def __init__(self, scene: bpy.types.Scene, frames: FrameTable, panes: lamps.Panes) -> None:
        self.scene, self.frames, self.panes = scene, frames, panes
        self.light = sky.picture_light(frames)
        self.eye = frames.camera_m.mean(axis=0)
        _choose_shading(scene)
        if scene.camera is not None:
            lens: Any = scene.camera.data
            lens.clip_start = NEAREST_M
        things = [t for t in scene.collection.all_objects if t.type == "MESH" and not t.hide_render]
        for thing in things:
            # what lies flat throws no shadow worth seeing, and Workbench would lose those that fall on it
            flat = thing.get(blocking.ROLE_KEY) in ("ground", "water") or parts.part_of(thing) == "ground"
            if flat or thing.get(blocking.SHAPE_KEY) == "ridge":
                thing.display.show_shadows = False
            if thing.get(blocking.ROLE_KEY) == "water":
                _cut_finely(thing, self.eye, frames.camera_rotation[len(frames) // 2] @ [0.0, 0.0, -1.0])
        self.pieces = [_Corners(thing) for thing in things]
        self.sky: _Sky | None = None
        self.skyglow, self.veils = sky.skyglow(self.light), sky.veil_levels(self.light)
        self.sun_disc = sky.sun_disc(self.light)
        self.moon_disc = sky.moon_disc(self.light, frames.moon_lit_fraction)
        self._prepare()

    def _make_sky(self) -> _Sky:
        """The sky with its stars, which are as large as the picture's pixels let them."""
        side = starfield.spot_rad(self.frames, float(self.scene.render.resolution_x))
        directions, self.star_levels = stars.seen(self.frames, side**2)
        self.star_corners = starfield.star_squares(directions, side).reshape(-1, 3)
        self.star_pole, self.star_turn_deg = stars.sky_pole(self.frames), stars.turned_deg(self.frames)
        return _Sky(self.scene, self.eye, self._dome_radius_m(), len(directions))

    def _dome_radius_m(self) -> float:
        """Beyond all blocks, but no farther: far away, Workbench can't tell depths apart."""
        blocks = [p.places for p in self.pieces if parts.part_of(p.thing) != "ground"]
        reach = [float(np.linalg.norm(places - self.eye, axis=1).max()) for places in blocks]
        return max([LEAST_DOME_M, *(1.1 * far for far in reach)])

    def _prepare(self) -> None:
        def joined(name: str) -> Array:
            return np.concatenate([getattr(piece, name) for piece in self.pieces])

        self.normals, self.albedo = joined("normals"), joined("albedo")
        self.is_water = joined("is_water").astype(bool)
        self.in_shade = joined("in_shade").astype(bool)
        self.is_pane = joined("is_pane").astype(bool)
        places = joined("places")
        self.water_places = places[self.is_water]
        spots = np.abs(np.sin(np.round(self.water_places[:, :2], 2) @ [127.1, 311.7]) * 43758.5) % 1.0
        self.waves = 1.0 + WAVES * (2.0 * spots - 1.0)
        away = places - self.eye
        distance = np.linalg.norm(away, axis=1)
        self.away = away / np.maximum(distance, 1e-6)[:, None]
        self.haze = 1.0 - np.exp(-distance / materials.AIR_M)
        level = self.away * [1.0, 1.0, 0.0]
        self.level = level / np.maximum(np.linalg.norm(level, axis=1), 1e-6)[:, None]
        self.sky_directions = _even_directions(DIRECTIONS)
        self.lamp_shape = sky.lamp_shape(self.sky_directions, self.light.lamp_direction[0])
        unique, self.normal_of = np.unique(np.round(self.normals, 4), axis=0, return_inverse=True)
        self.normal_of = self.normal_of.ravel()
        self.unique_normals = unique
        # share of each sky direction in the light on each normal; an even sky of level 1 lights what faces
        # it to 1
        self.takes = 2.0 * np.maximum(unique @ self.sky_directions.T, 0.0) / DIRECTIONS

    def show(self, number: int) -> None:
        """Put a frame's colours and shadows in; number counts from 1. The scene's frame must be set
        already.
        """
        frame, light = number - 1, self.light
        sun, sun_level = self.frames.sun_direction[frame], light.sun[frame]
        colours, shadow = self._lit(frame)
        sky_low = sky.radiance(light, frame, self.level)
        colours[self.is_water] = self._water(frame)
        colours += self.haze[:, None] * (sky_low - colours)
        if len(self.panes.on_lux):
            share = lamps.share_on(self.panes.on_lux, self.frames.illuminance_lux[frame])
            shining = (share * light.lamps[frame].max())[:, None] * self.panes.glow
            colours[self.is_pane] += np.repeat(shining, 4, axis=0)
        colours = (
            _capped(colours) / np.where(self.in_shade, 1.0 - shadow, self._shadowed(sun, shadow))[:, None]
        )
        if self.sky is None:
            self.sky = self._make_sky()
        place = 0
        for piece in self.pieces:
            piece.paint(colours[place : place + piece.count])
            place += piece.count
        self._paint_sky(self.sky, frame, shadow)
        display: Any = self.scene.display
        display.shading.show_shadows = bool(shadow > 0.01)
        display.shading.shadow_intensity = float(np.clip(shadow, 0.0, 1.0))
        if sun_level.max() > 0.0:
            display.light_direction = (sun[0], sun[2], -sun[1])  # Workbench turns it, with Y up

    def _lit(self, frame: int) -> tuple[Array, float]:
        """Colours of all corners in full light, and how much of it a shadow takes away."""
        light, sun = self.light, self.frames.sun_direction[frame]
        whole_sky = sky.radiance(light, frame, self.sky_directions)
        whole_sky += self.lamp_shape[:, None] * light.lamps[frame]
        up = np.array([0.0, 0.0, 1.0])
        level_takes = 2.0 * self.sky_directions[:, 2] / DIRECTIONS
        on_ground = level_takes @ whole_sky + light.sun[frame] * max(float(sun @ up), 0.0)
        faces_down = (1.0 - self.unique_normals[:, 2]) / 2.0
        ambient = self.takes @ whole_sky + faces_down[:, None] * (GROUND_ALBEDO * on_ground)
        moon = np.maximum(self.unique_normals @ self.frames.moon_direction[frame], 0.0)
        ambient += moon[:, None] * light.moon[frame]
        facing = np.maximum(self.unique_normals @ sun, 0.0)
        whole = ambient + facing[:, None] * light.sun[frame]
        colours = self.albedo * whole[self.normal_of]
        beam = float(light.sun[frame].mean())
        around = float((level_takes @ whole_sky).mean())
        level_beam, wall_beam = beam * max(float(sun[2]), 0.0), beam * float(np.hypot(sun[0], sun[1]))
        shares = [b / (b + around) if b > 0.0 else 0.0 for b in (level_beam, wall_beam)]
        return colours, float(np.mean(shares))

    def _shadowed(self, sun: Array, shadow: float) -> Array:
        """What Workbench will leave of a corner that no other thing shades: less where it faces away
        from the sun.
        """
        rise = np.clip((self.unique_normals @ sun) / FOCUS, 0.0, 1.0)
        lit = rise * rise * (3.0 - 2.0 * rise)
        return (1.0 - shadow + shadow * lit)[self.normal_of]

    def _water(self, frame: int) -> Array:
        """Water mirrors the sky by Fresnel's law, and the sun in a broken path (microfacets, a light
        swell).
        """
        light, sun = self.light, self.frames.sun_direction[frame]
        away = self.water_places - self.frames.camera_m[frame]
        away /= np.maximum(np.linalg.norm(away, axis=1), 1e-6)[:, None]
        drop = np.clip(-away[:, 2], 0.02, 1.0)
        fresnel = WATER_IOR_F0 + (1.0 - WATER_IOR_F0) * (1.0 - drop) ** 5
        mirrored = away * [1.0, 1.0, 0.0]
        mirrored[:, 2] = drop + 0.08
        mirrored /= np.linalg.norm(mirrored, axis=1)[:, None]
        seen = sky.radiance(light, frame, mirrored)
        half = sun - away
        half /= np.maximum(np.linalg.norm(half, axis=1), 1e-6)[:, None]
        rise = np.maximum(half[:, 2], 0.05)
        slopes = np.exp(-(1.0 - rise**2) / rise**2 / SWELL) / (SWELL * rise**4)
        glitter = slopes / (4.0 * drop) * max(float(sun[2]) > 0.0, 0.0)
        body = self.albedo[self.is_water] * (light.even[frame] + light.band[frame])
        return body + fresnel[:, None] * (
            seen + (self.waves * np.minimum(glitter, GLITTER_MOST))[:, None] * light.sun[frame]
        )

    def _sky_seen(self, frame: int, directions: Array, sun_away_rad: Array) -> Array:
        """The sky with the glow of the place and the veil around the sun in it."""
        band = np.exp(-sky.BAND_FALL * np.maximum(directions[..., 2:], 0.0))
        veil = sky.veil(self.veils[frame], sun_away_rad)
        return sky.radiance(self.light, frame, directions) + band * self.skyglow[frame] + veil

    def _stars(self, frame: int) -> tuple[Array, Array]:
        """Directions of the corners of all stars (4 n, 3), and colours: what they add to the sky behind."""
        corners = stars.turned(self.star_corners, self.star_pole, float(self.star_turn_deg[frame]))
        through = stars.through_air(corners[::4, 2]) * self.light.level_per_lux[frame]
        away = np.linalg.norm(corners - self.frames.sun_direction[frame], axis=1)
        behind = self._sky_seen(frame, corners, away)
        return corners, behind + np.repeat(through[:, None] * self.star_levels, 4, axis=0)

    def _paint_sky(self, dome: _Sky, frame: int, shadow: float) -> None:
        sun, moon = self.frames.sun_direction[frame], self.frames.moon_direction[frame]
        away = np.linalg.norm(dome.outward - sun, axis=1)
        around_sun, sun_rings = _rings(sun, np.array([0.0, 0.0, 1.0]), SUN_RINGS, 1.0)
        around_moon, moon_rings = _rings(
            moon, sun, MOON_RINGS, 2.0 * float(self.frames.moon_lit_fraction[frame]) - 1.0
        )
        seen = self._sky_seen(frame, around_sun, sun_rings * sky.SUN_RADIUS_RAD)
        seen += np.clip(1.15 - sun_rings, 0.0, 0.3)[:, None] / 0.3 * self.sun_disc[frame]
        behind = self._sky_seen(frame, around_moon, np.linalg.norm(around_moon - sun, axis=1))
        lit = behind + np.clip(1.0 - moon_rings, 0.0, 0.1)[:, None] / 0.1 * self.moon_disc[frame]
        star_corners, star_colours = self._stars(frame)
        dome.show(
            np.vstack([self._sky_seen(frame, dome.outward, away), seen, lit, star_colours]),
            np.vstack([around_sun, around_moon, star_corners]),
            1.0 - shadow,
        )


class _Painted:
    """A mesh object whose corners take colours."""

    def __init__(self, thing: bpy.types.Object) -> None:
        self.thing = thing
        mesh: Any = thing.data
        self.mesh = mesh
        self.count = len(mesh.loops)
        colours = mesh.color_attributes.get(COLOURS) or mesh.color_attributes.new(
            COLOURS, "FLOAT_COLOR", "CORNER"
        )
        mesh.color_attributes.active_color = colours
        mesh.color_attributes.render_color_index = mesh.color_attributes.find(COLOURS)
        self.buffer = np.ones((self.count, 4), dtype=np.float32)

    def paint(self, colours: Array) -> None:
        """Colours of the corners, linear, shape (corners, 3)."""
        self.buffer[:, :3] = colours
        self.mesh.color_attributes[COLOURS].data.foreach_set("color", self.buffer.ravel())
        self.mesh.update()

    def corners(self) -> NDArray[np.int32]:
        """Number of each corner's vertex, shape (corners,)."""
        numbers = np.empty(self.count, dtype=np.int32)
        self.mesh.loops.foreach_get("vertex_index", numbers)
        return numbers

    def corner_places(self) -> Array:
        """Corners in the object's own axes, shape (corners, 3)."""
        vertices = np.empty(3 * len(self.mesh.vertices), dtype=np.float32)
        self.mesh.vertices.foreach_get("co", vertices)
        return vertices.reshape(-1, 3)[self.corners()].astype(np.float64)


class _Corners(_Painted):
    """A block's or the ground's corners: places and normals in scene axes, and draft colours."""

    def __init__(self, thing: bpy.types.Object) -> None:
        super().__init__(thing)
        world = np.array(thing.matrix_world)
        own = self.corner_places()
        self.places = own @ world[:3, :3].T + world[:3, 3]
        flat = np.empty(3 * self.count, dtype=np.float32)
        self.mesh.corner_normals.foreach_get("vector", flat)
        normals = flat.reshape(-1, 3).astype(np.float64) @ np.linalg.inv(world[:3, :3])
        self.normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-12)[:, None]
        is_water = thing.get(blocking.ROLE_KEY) == "water"
        shadeless = is_water or thing.get(blocking.SHAPE_KEY) == "ridge"
        if shadeless:  # water mirrors, and a ridge is too far away for Workbench's shadows
            self.mesh.normals_split_custom_set([(0.0, 0.0, -1.0)] * self.count)
        self.in_shade = np.full(self.count, shadeless)
        self.is_water = np.full(self.count, is_water) & (self.normals[:, 2] > 0.5)
        self.is_pane = np.full(self.count, parts.part_of(thing) == nightlights.PART)
        colour: Any = thing.color
        self.albedo = np.tile(np.array(colour[:3], dtype=np.float64), (self.count, 1))
        height = self.places[:, 2].max() - self.places[:, 2].min()
        if thing.get(blocking.ROLE_KEY) in ("subject", "foreground", "background") and height > 0.2:
            up = (self.places[:, 2] - self.places[:, 2].min()) / height
            wall = np.sqrt(np.maximum(1.0 - self.normals[:, 2] ** 2, 0.0))
            self.albedo *= (1.0 - CORNER_SHADE * wall * (1.0 - up))[:, None]


class _Sky(_Painted):
    """The sky as a sphere around the camera, with the discs of sun and moon and the stars before it.

    All is one object, so that no edges are drawn in it, and its normals point down: for Workbench it lies
    in the shade, evenly, whenever the sun is up.
    """

    def __init__(self, scene: bpy.types.Scene, eye: Array, radius_m: float, stars_count: int) -> None:
        vertices, faces = _dome_shape()
        self.dome_vertices = len(vertices)
        discs: list[Array] = []
        for rings in (SUN_RINGS, MOON_RINGS):
            first = len(vertices) + sum(map(len, discs))
            points = np.zeros((1 + (len(rings) - 1) * DISC_SIDES, 3))
            faces += _fan(first, len(rings) - 1)
            discs.append(points)
        first = len(vertices) + sum(map(len, discs))
        faces += [(at + 3, at + 2, at + 1, at) for at in range(first, first + 4 * stars_count, 4)]
        discs.append(np.zeros((4 * stars_count, 3)))
        self.vertices = np.vstack([vertices * radius_m, *discs])
        self.disc_m = DISC_SHARE * radius_m
        super().__init__(_look_object(scene, "sky dome", "Sky dome", self.vertices, faces))
        self.thing.location = eye.tolist()
        self.outward = vertices
        self.down = [(0.0, 0.0, -1.0)] * self.count

    def show(self, colours: Array, discs: Array, brightness: float) -> None:
        """Colours of the points of dome, discs and stars, directions of those of discs and stars, and what
        shade leaves of them.
        """
        self.vertices[self.dome_vertices :] = self.disc_m * discs
        self.mesh.vertices.foreach_set("co", self.vertices.astype(np.float32).ravel())
        self.mesh.normals_split_custom_set(self.down)
        self.paint(_capped(colours)[self.corners()] / brightness)


def _capped(colours: Array) -> Array:
    """Colours no brighter than Workbench can take, of the same hue."""
    return colours * np.minimum(1.0, BRIGHTEST / np.maximum(colours.max(axis=1), 1e-9))[:, None]


def _choose_shading(scene: bpy.types.Scene) -> None:
    display: Any = scene.display
    shading = display.shading
    shading.light, shading.color_type = "FLAT", "VERTEX"
    shading.background_type = "WORLD"
    shading.show_object_outline = True
    shading.object_outline_color = EDGE_COLOUR
    shading.show_cavity, shading.cavity_type = True, "SCREEN"
    shading.curvature_ridge_factor, shading.curvature_valley_factor = 0.6, 1.2
    shading.show_shadows, shading.show_xray, shading.use_dof = True, False, False
    display.shadow_shift, display.shadow_focus = 0.0, 1.0 - FOCUS


def _even_directions(count: int) -> Array:
    """Directions spread evenly over the upper half, shape (count, 3): a spiral by the golden angle."""
    up = (np.arange(count) + 0.5) / count
    turn = np.arange(count) * (np.pi * (3.0 - np.sqrt(5.0)))
    level = np.sqrt(1.0 - up**2)
    return np.stack([level * np.cos(turn), level * np.sin(turn), up], axis=1)


def _rings(middle: Array, toward: Array, radii: Array, phase: float) -> tuple[Array, Array]:
    """Directions (points, 3) of a disc's middle and of points on rings around it, and their radii (points,).

    On the side away from another direction the disc is drawn in by phase, 1 (full) to −1 (new).
    """
    near = toward - (toward @ middle) * middle
    near /= max(float(np.linalg.norm(near)), 1e-9)
    across = np.cross(middle, near)
    turn = np.arange(DISC_SIDES) * (2.0 * np.pi / DISC_SIDES)
    along = np.where(np.cos(turn) < 0.0, np.cos(turn) * phase, np.cos(turn))
    rim = along[:, None] * near + np.sin(turn)[:, None] * across
    points = middle + (radii[1:, None, None] * sky.SUN_RADIUS_RAD * rim).reshape(-1, 3)
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    return np.vstack([middle, points]), np.concatenate([radii[:1], np.repeat(radii[1:], DISC_SIDES)])


def _fan(first: int, rings: int) -> list[tuple[int, ...]]:
    """Faces of a disc: a fan around its middle, the vertex `first`, and rings around that."""
    n = DISC_SIDES
    faces: list[tuple[int, ...]] = [(first, first + 1 + (i + 1) % n, first + 1 + i) for i in range(n)]
    for ring in range(rings - 1):
        inner, outer = first + 1 + ring * n, first + 1 + (ring + 1) * n
        faces += [(inner + i, inner + (i + 1) % n, outer + (i + 1) % n, outer + i) for i in range(n)]
    return faces


def _dome_shape() -> tuple[Array, list[tuple[int, ...]]]:
    """A unit sphere from just below the horizon up, with rings that stand closer near the horizon."""
    altitudes = np.concatenate([[-0.06], (np.pi / 2.0) * np.linspace(0.0, 1.0, DOME_RINGS)[:-1] ** 2.2])
    n = DOME_AROUND
    around = np.arange(n) * (2.0 * np.pi / n)
    rings = [
        np.stack([np.cos(a) * np.cos(around), np.cos(a) * np.sin(around), np.full(n, np.sin(a))], axis=1)
        for a in altitudes
    ]
    last = (len(altitudes) - 1) * n
    faces: list[tuple[int, ...]] = [
        (r + i, r + n + i, r + n + (i + 1) % n, r + (i + 1) % n) for r in range(0, last, n) for i in range(n)
    ]
    faces += [(last + i, last + n, last + (i + 1) % n) for i in range(n)]
    return np.vstack([*rings, [[0.0, 0.0, 1.0]]]), faces


def _look_object(
    scene: bpy.types.Scene, part: str, name: str, vertices: Array, faces: list[tuple[int, ...]]
) -> bpy.types.Object:
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices.tolist(), [], faces)
    thing = parts.new_object(part, name, mesh, scene.collection)  # type: ignore[arg-type]
    thing.display.show_shadows = False
    return thing


def _cut_finely(thing: bpy.types.Object, eye: Array, ahead: Array) -> None:
    """Cut a water block into a fan seen from the camera, finer close by, so that mirrored colours can
    change over it.
    """
    to_local = np.linalg.inv(np.array(thing.matrix_world))
    local = to_local @ np.append(eye, 1.0)
    middle = np.arctan2(ahead[1], ahead[0])
    planes = []
    for turn in np.radians(np.arange(-60.0, 60.0 + WATER_FAN_DEG, WATER_FAN_DEG)):
        planes.append((local[:3], to_local[:3, :3] @ [np.sin(middle + turn), -np.cos(middle + turn), 0.0]))
    forward = np.array([np.cos(middle), np.sin(middle), 0.0])
    for step in WATER_STEPS_M:
        planes.append((local[:3] + to_local[:3, :3] @ (step * forward), to_local[:3, :3] @ forward))
    mesh: Any = thing.data
    cut = bmesh.new()
    cut.from_mesh(mesh)
    for place, normal in planes:
        top = [face for face in cut.faces if face.normal.z > 0.5]
        edges = list({edge for face in top for edge in face.edges})
        points = list({vertex for face in top for vertex in face.verts})
        geometry: Any = [*points, *edges, *top]
        bmesh.ops.bisect_plane(cut, geom=geometry, plane_co=place.tolist(), plane_no=normal.tolist())
    cut.to_mesh(mesh)
    cut.free()
    mesh.update()

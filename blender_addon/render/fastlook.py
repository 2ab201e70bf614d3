"""The fast look: Workbench draws flat colours, and the colours are worked out here, corner by corner.

Each corner of each face gets its draft colour lit by sun, sky, ground and lamps as the frame's settings
record them. Workbench adds what needs geometry: what is hidden, and the shadows of the sun. A camera of its
own stands where the frame's stands, so that Blender needn't go through the scene's keys.
"""

from __future__ import annotations

from typing import Any

import bmesh
import bpy
import numpy as np
from attrs import frozen
from mathutils import Matrix
from numpy.typing import NDArray

from planner_core.draft import stars
from planner_core.draft.sky import picture_light
from planner_core.frames import FrameTable
from planner_core.light import lamps, sky
from planner_core.picture import projection
from planner_core.rig import geometry

from ..scene import blocking, materials, nightlights, parts, starfield

Array = NDArray[np.float64]

COLOURS, CAMERA_PART = "Duskrail fast look", "fast look camera"
LEAST_DOME_M = 8000.0
# into how many steps sky and water are cut over the picture's width, and at most over all that is in view
DOME_GRID, WATER_GRID = (36, 120), (64, 200)
DOME_RINGS = 32
DOME_FOOT_RAD, STEEP_RAD = -0.06, np.radians(75.0)
MOST_VIEWS = 1000
VIEW_MARGIN = 1.15  # how much more than the pictures' width and height is made ready
DISC_SHARE = 0.98  # of the dome's radius
DISC_SIDES = 24
# rings around the middle of the sun, in its radii: the disc's soft edge, and the glare around it
SUN_RINGS = np.array([0.0, 0.85, 1.15, 1.6, 2.4, 3.6, 5.5, 8.0, 12.0, 18.0, 27.0, 40.0])
MOON_RINGS = np.array([0.0, 0.9, 1.0])
RIM_COS, RIM_SIN = (f(np.arange(DISC_SIDES) * (2.0 * np.pi / DISC_SIDES)) for f in (np.cos, np.sin))


def _at_points(of_rings: Array) -> Array:
    """What the rings of a disc have, at its middle and its points."""
    return np.concatenate([of_rings[:1], np.repeat(of_rings[1:], DISC_SIDES)])


SUN_EDGE = _at_points(np.clip(1.15 - SUN_RINGS, 0.0, 0.3) / 0.3)  # how much of the disc is seen
MOON_EDGE = _at_points(np.clip(1.0 - MOON_RINGS, 0.0, 0.1) / 0.1)
BRIGHTEST = 8.0  # more would overflow in Workbench, and is white anyway
EDGE_COLOUR = (0.02, 0.02, 0.025)
NEAREST_M = 0.1  # nothing is nearer to the lens; depths far away are told apart the better
DIRECTIONS = 400
BEARING_RAD = 0.002  # within which what is far away goes over into the same sky
CORNER_SHADE = 0.30  # how much darker a wall is at its foot: ours
GROUND_ALBEDO = 0.18
FOCUS = 0.01  # over which rise of the sun above a face its shadow fades in
WATER_IOR_F0 = 0.02  # mirrored straight down, Fresnel for water
SWELL = (
    0.004  # mean square slope of a harbour's water in little wind; value from memory of Cox and Munk (1954)
)
GLITTER_MOST = 6.0  # of the sun's light, mirrored by a corner that the path crosses
WATER_STEPS_M = 0.8 * 1.2 ** np.arange(38)
WAVES = 0.6  # how unevenly the water glitters: ours


@frozen(kw_only=True)
class _View:
    """What the pictures show between them, and a little more: from and to which direction over level ground,
    counter-clockwise from +X, and how high; and the angle that one takes in.
    """

    first_rad: float
    last_rad: float
    highest_rad: float
    width_rad: float

    def around(self, across: int, most: int) -> int:
        """Into how many equal steps the whole circle is cut: so many across a picture, unless that would make
        more than `most` over all pictures. A multiple of 8.
        """
        step = max(self.width_rad / across, (self.last_rad - self.first_rad) / most)
        return 8 * int(np.ceil(np.pi / 4.0 / step - 1e-9))  # not one more for a last bit

    def directions_rad(self, across: int, most: int) -> Array:
        """Directions of those steps, from one side of what is in view to the other. They are the same
        whatever else is in view: so a frame looks as it did when a pose far from it changes.
        """
        step = 2.0 * np.pi / self.around(across, most)
        return step * np.arange(np.floor(self.first_rad / step), np.ceil(self.last_rad / step) + 1.0)


def grid_of(frames: FrameTable) -> tuple[int, int]:
    """What of the fast look's frames depends on the move as a whole."""
    view = _in_view(frames)
    return view.around(*WATER_GRID), view.around(*DOME_GRID)


class FastLook:
    """A drawn scene prepared for the fast look. show(frame) puts the frame's colours and shadows in."""

    def __init__(self, scene: bpy.types.Scene, frames: FrameTable, panes: lamps.Panes) -> None:
        self.scene, self.frames, self.panes = scene, frames, panes
        self.light = picture_light(frames)
        self.eye, self.view = geometry.head_middle_m(frames.plan), _in_view(frames)
        _choose_shading(scene)
        assert scene.camera is not None
        lens: Any = scene.camera.data
        lens.clip_start = NEAREST_M
        self.camera = parts.new_object(CAMERA_PART, "Draft camera", lens, scene.collection)  # type: ignore[arg-type]
        scene.camera = self.camera
        things = [t for t in scene.collection.all_objects if t.type == "MESH" and not t.hide_render]
        for thing in things:
            # what lies flat throws no shadow worth seeing, and Workbench would lose those that fall on it
            flat = thing.get(blocking.ROLE_KEY) in ("ground", "water") or parts.part_of(thing) == "ground"
            if flat or thing.get(blocking.SHAPE_KEY) == "ridge":
                thing.display.show_shadows = False
            if thing.get(blocking.ROLE_KEY) == "water":
                _cut_finely(thing, self.eye, self.view)
        self.pieces = [_Corners(thing) for thing in things]
        self.sky: _Sky | None = None
        self.skyglow, self.glare = sky.skyglow(self.light), sky.glare_levels(self.light)
        self.sun_disc = sky.sun_disc(self.light)
        self.moon_disc = sky.moon_disc(self.light, frames.moon_lit_fraction)
        self._prepare()

    def _make_sky(self) -> _Sky:
        """The sky with its stars, which are as large as the picture's pixels let them."""
        side = starfield.spot_rad(self.frames, float(self.scene.render.resolution_x))
        directions, self.star_levels = stars.seen(self.frames, side**2)
        self.star_corners = starfield.star_squares(directions, side).reshape(-1, 3)
        self.star_pole, self.star_turn_deg = stars.sky_pole(self.frames), stars.turned_deg(self.frames)
        return _Sky(self.scene, self.eye, self.view, self._dome_radius_m(), len(directions))

    def _dome_radius_m(self) -> float:
        """Beyond all blocks, but no farther: far away, Workbench can't tell depths apart."""
        blocks = [p.places for p in self.pieces if parts.part_of(p.thing) != "ground"]
        reach = [float(np.linalg.norm(places - self.eye, axis=1).max()) for places in blocks]
        return max([LEAST_DOME_M, *(1.1 * far for far in reach)])

    def _prepare(self) -> None:
        """What stays from frame to frame. Corners that look alike on every frame are worked out once."""

        def joined(name: str) -> Array:
            return np.concatenate([getattr(piece, name) for piece in self.pieces])

        places, normals, albedo = joined("places"), joined("normals"), joined("albedo")
        is_water, in_shade, pane = joined("is_water"), joined("in_shade"), joined("pane")
        normal_rows, normal_of = _rows(np.round(normals, 4))
        self.unique_normals = normals[normal_rows]
        looks = [np.round(places, 3), normal_of, np.round(albedo, 4), is_water, in_shade, pane]
        rows, alike = _rows(np.column_stack(looks))
        ends = np.cumsum([piece.count for piece in self.pieces])
        self.alike = np.split(alike, ends[:-1])
        places, self.albedo, self.normal_of = places[rows], albedo[rows], normal_of[rows]
        self.is_water, self.in_shade = is_water[rows].astype(bool), in_shade[rows].astype(bool)
        self.pane_rows = np.flatnonzero(pane[rows] >= 0)
        self.pane = pane[rows][self.pane_rows].astype(int)
        self.water_places = places[self.is_water]
        spots = np.abs(np.sin(np.round(self.water_places[:, :2], 2) @ [127.1, 311.7]) * 43758.5) % 1.0
        self.waves = 1.0 + WAVES * (2.0 * spots - 1.0)
        away = places - self.eye
        self.haze = 1.0 - np.exp(-np.linalg.norm(away, axis=1) / materials.AIR_M)
        bearing_rows, self.bearing_of = _rows(np.round(np.arctan2(away[:, 1], away[:, 0]) / BEARING_RAD))
        level = away[bearing_rows] * [1.0, 1.0, 0.0]
        self.level = level / np.maximum(np.linalg.norm(level, axis=1), 1e-6)[:, None]
        self.sky_directions = _even_directions(DIRECTIONS)
        self.lamp_shape = sky.lamp_shape(self.sky_directions, self.light.lamp_direction[0])
        # share of each sky direction in the light on each normal; an even sky of level 1 lights what faces
        # it to 1
        self.takes = 2.0 * np.maximum(self.unique_normals @ self.sky_directions.T, 0.0) / DIRECTIONS

    def show(self, number: int) -> None:
        """Put a frame's camera, colours and shadows in; number counts from 1."""
        frame, light = number - 1, self.light
        stands = np.eye(4)
        stands[:3, :3], stands[:3, 3] = self.frames.camera_rotation[frame], self.frames.camera_m[frame]
        self.camera.matrix_basis = Matrix(stands.tolist())
        sun, sun_level = self.frames.sun_direction[frame], light.sun[frame]
        colours, shadow = self._lit(frame)
        sky_low = sky.radiance(light, frame, self.level)[self.bearing_of]
        colours[self.is_water] = self._water(frame)
        colours += self.haze[:, None] * (sky_low - colours)
        if len(self.panes.on_lux):
            share = lamps.share_on(self.panes.on_lux, self.frames.illuminance_lux[frame])
            shining = (share * light.lamps[frame].max())[:, None] * self.panes.glow
            colours[self.pane_rows] += shining[self.pane]
        colours = (
            _capped(colours) / np.where(self.in_shade, 1.0 - shadow, self._shadowed(sun, shadow))[:, None]
        )
        if self.sky is None:
            self.sky = self._make_sky()
        for piece, alike in zip(self.pieces, self.alike, strict=True):
            piece.paint(colours[alike])
        self._paint_sky(self.sky, frame, shadow)
        display: Any = self.scene.display
        display.shading.show_shadows = bool(shadow > 0.01)
        display.shading.shadow_intensity = float(np.clip(shadow, 0.0, 1.0))
        if sun_level.max() > 0.0:
            display.light_direction = (sun[0], sun[2], -sun[1])  # Workbench turns it, with Y up

    def _lit(self, frame: int) -> tuple[Array, float]:
        """Colours of all kinds of corner in full light, and how much of it a shadow takes away."""
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
        body = self.albedo[self.is_water] * (light.isotropic[frame] + light.horizon_band[frame])
        return body + fresnel[:, None] * (
            seen + (self.waves * np.minimum(glitter, GLITTER_MOST))[:, None] * light.sun[frame]
        )

    def _paint_sky(self, dome: _Sky, frame: int, shadow: float) -> None:
        """The sky, with the glow of the place and the glare around the sun in it, and before it the discs and
        the stars.
        """
        sun, moon = self.frames.sun_direction[frame], self.frames.moon_direction[frame]
        phase = 2.0 * float(self.frames.moon_lit_fraction[frame]) - 1.0
        before = [
            # a sun that is down has no rings: they draw the sky around them less finely than the dome does
            _rings(sun, np.array([0.0, 0.0, 1.0]), SUN_RINGS * (self.light.sun[frame].max() > 0.0), 1.0),
            _rings(moon, sun, MOON_RINGS, phase),
            stars.turned(self.star_corners, self.star_pole, float(self.star_turn_deg[frame])),
        ]
        directions = np.vstack([dome.outward, *before])
        band = np.exp(-sky.HORIZON_FALL * np.maximum(directions[:, 2:], 0.0))
        glare = sky.glare(self.glare[frame], np.linalg.norm(directions - sun, axis=1))
        colours = sky.radiance(self.light, frame, directions) + band * self.skyglow[frame] + glare
        counts = [len(dome.outward), *map(len, before)]
        _, on_sun, on_moon, on_stars = np.split(colours, np.cumsum(counts)[:-1])
        on_sun += SUN_EDGE[:, None] * self.sun_disc[frame]
        on_moon += MOON_EDGE[:, None] * self.moon_disc[frame]
        through = stars.through_air(before[2][::4, 2]) * self.light.level_per_lux[frame]
        on_stars += np.repeat(through[:, None] * self.star_levels, 4, axis=0)
        dome.show(colours, directions[len(dome.outward) :], 1.0 - shadow)


class _Painted:
    """A mesh object whose corners take colours, or whose points do."""

    def __init__(self, thing: bpy.types.Object, domain: str = "CORNER") -> None:
        self.thing = thing
        mesh: Any = thing.data
        self.mesh = mesh
        self.count = len(mesh.loops if domain == "CORNER" else mesh.vertices)
        colours = mesh.color_attributes.get(COLOURS) or mesh.color_attributes.new(
            COLOURS, "FLOAT_COLOR", domain
        )
        mesh.color_attributes.active_color = colours
        mesh.color_attributes.render_color_index = mesh.color_attributes.find(COLOURS)
        self.buffer = np.ones((self.count, 4), dtype=np.float32)

    def paint(self, colours: Array) -> None:
        """Linear colours, shape (count, 3)."""
        self.buffer[:, :3] = colours
        self.mesh.color_attributes[COLOURS].data.foreach_set("color", self.buffer.ravel())
        self.mesh.update_tag()


class _Corners(_Painted):
    """A block's or the ground's corners: places and normals in scene axes, and draft colours."""

    def __init__(self, thing: bpy.types.Object) -> None:
        super().__init__(thing)
        world = np.array(thing.matrix_world)
        own = self._corner_places()
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
        is_glass = parts.part_of(thing) == nightlights.PART  # its panes have four corners each
        self.pane = np.arange(self.count) // 4 if is_glass else np.full(self.count, -1)
        colour: Any = thing.color
        self.albedo = np.tile(np.array(colour[:3], dtype=np.float64), (self.count, 1))
        height = self.places[:, 2].max() - self.places[:, 2].min()
        if thing.get(blocking.ROLE_KEY) in ("subject", "foreground", "background") and height > 0.2:
            up = (self.places[:, 2] - self.places[:, 2].min()) / height
            wall = np.sqrt(np.maximum(1.0 - self.normals[:, 2] ** 2, 0.0))
            self.albedo *= (1.0 - CORNER_SHADE * wall * (1.0 - up))[:, None]

    def _corner_places(self) -> Array:
        """Corners in the object's own axes, shape (count, 3)."""
        numbers = np.empty(self.count, dtype=np.int32)
        self.mesh.loops.foreach_get("vertex_index", numbers)
        vertices = np.empty(3 * len(self.mesh.vertices), dtype=np.float32)
        self.mesh.vertices.foreach_get("co", vertices)
        return vertices.reshape(-1, 3)[numbers].astype(np.float64)


class _Sky(_Painted):
    """The sky as part of a sphere around the camera, with the discs of sun and moon and the stars before it.

    All is one object, so that no edges are drawn in it, and its normals point down: for Workbench it lies
    in the shade, evenly, whenever the sun is up.
    """

    def __init__(
        self, scene: bpy.types.Scene, eye: Array, view: _View, radius_m: float, stars_count: int
    ) -> None:
        vertices, faces = _dome_shape(view)
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
        super().__init__(_look_object(scene, "sky dome", "Sky dome", self.vertices, faces), "POINT")
        self.thing.location = eye.tolist()
        self.outward = vertices
        normals = self.mesh.attributes.new("custom_normal", "FLOAT_VECTOR", "POINT")
        normals.data.foreach_set("vector", np.tile([0.0, 0.0, -1.0], self.count).astype(np.float32))

    def show(self, colours: Array, discs: Array, brightness: float) -> None:
        """Colours of the points of dome, discs and stars, directions of those of discs and stars, and what
        shade leaves of them.
        """
        self.vertices[self.dome_vertices :] = self.disc_m * discs
        self.mesh.vertices.foreach_set("co", self.vertices.astype(np.float32).ravel())
        self.paint(_capped(colours) / brightness)


def _rows(values: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where each row (or number) that differs from the others is found first, and which of them each is."""
    _, first, which = np.unique(values, axis=0, return_index=True, return_inverse=True)
    return first, which.ravel()


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


def _rings(middle: Array, toward: Array, radii: Array, phase: float) -> Array:
    """Directions (points, 3) of a disc's middle and of points on rings around it.

    On the side away from another direction the disc is drawn in by phase, 1 (full) to −1 (new).
    """
    near = toward - (toward @ middle) * middle
    near /= max(float(np.linalg.norm(near)), 1e-9)
    across = np.cross(middle, near)
    along = np.where(RIM_COS < 0.0, RIM_COS * phase, RIM_COS)
    rim = along[:, None] * near + RIM_SIN[:, None] * across
    points = middle + (radii[1:, None, None] * sky.SUN_RADIUS_RAD * rim).reshape(-1, 3)
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    return np.vstack([middle, points])


def _fan(first: int, rings: int) -> list[tuple[int, ...]]:
    """Faces of a disc: a fan around its middle, the vertex `first`, and rings around that."""
    n = DISC_SIDES
    faces: list[tuple[int, ...]] = [(first, first + 1 + (i + 1) % n, first + 1 + i) for i in range(n)]
    for ring in range(rings - 1):
        inner, outer = first + 1 + ring * n, first + 1 + (ring + 1) * n
        faces += [(inner + i, inner + (i + 1) % n, outer + (i + 1) % n, outer + i) for i in range(n)]
    return faces


def _dome_shape(view: _View) -> tuple[Array, list[tuple[int, ...]]]:
    """The part of a unit sphere that is in view, from just below the horizon up, with rings that stand closer
    near the horizon.
    """
    around = view.directions_rad(*DOME_GRID)
    rise = (np.pi / 2.0) * np.linspace(0.0, 1.0, DOME_RINGS) ** 2.2
    rise = rise[: 1 + np.searchsorted(rise, view.highest_rad)]
    rise, turn = np.meshgrid(np.concatenate([[DOME_FOOT_RAD], rise]), around, indexing="ij")
    vertices = np.stack([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)], axis=-1)
    n = len(around)
    low = (n * np.arange(len(rise) - 1)[:, None] + np.arange(n - 1)).ravel()
    faces = np.stack([low, low + n, low + n + 1, low + 1], axis=1)
    return vertices.reshape(-1, 3), [tuple(face) for face in faces.tolist()]


def _look_object(
    scene: bpy.types.Scene, part: str, name: str, vertices: Array, faces: list[tuple[int, ...]]
) -> bpy.types.Object:
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices.tolist(), [], faces)
    thing = parts.new_object(part, name, mesh, scene.collection)  # type: ignore[arg-type]
    thing.display.show_shadows = False
    return thing


def _in_view(frames: FrameTable) -> _View:
    plan = frames.plan
    focal_px = projection.delivered_crop(plan.camera, plan.clip).focal_px
    half = np.array([plan.clip.width_px, plan.clip.height_px]) / (2.0 * focal_px)
    side = np.linspace(-VIEW_MARGIN, VIEW_MARGIN, 13)  # over the whole picture: the zenith may be within it
    across, upward = np.meshgrid(side * half[0], side * half[1])
    rays = np.column_stack([across.ravel(), upward.ravel(), np.full(across.size, -1.0)])
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    some = np.unique(np.linspace(0, len(frames) - 1, MOST_VIEWS).astype(int))  # of a slow move, enough
    seen = np.einsum("fij,rj->fri", frames.camera_rotation[some], rays)
    altitude = np.arcsin(np.clip(seen[..., 2], -1.0, 1.0))
    highest = float(altitude.max())
    ahead = np.radians(90.0 + plan.site.scene_north_deg - frames.lens_bearing_deg)
    ahead = np.unwrap(ahead)[some]
    aside = np.arctan2(seen[..., 1], seen[..., 0]) - ahead[:, None]
    turn = ahead[:, None] + (aside + np.pi) % (2.0 * np.pi) - np.pi
    first, last = float(turn.min()), float(turn.max())
    if np.abs(altitude).max() > STEEP_RAD or last - first > 2.0 * np.pi:
        first, last, highest = 0.0, 2.0 * np.pi, np.pi / 2.0  # all around, where the lens looks steeply
    return _View(
        first_rad=first,
        last_rad=last,
        highest_rad=max(highest, 0.1),
        width_rad=2.0 * float(np.arctan(half[0])),
    )


def _cut_finely(thing: bpy.types.Object, eye: Array, view: _View) -> None:
    """Cut a water block into a fan seen from the camera, and that across, finer close by, so that mirrored
    colours can change over it.
    """
    to_local = np.linalg.inv(np.array(thing.matrix_world))
    turned, local = to_local[:3, :3], (to_local @ np.append(eye, 1.0))[:3]
    mesh: Any = thing.data
    cut = bmesh.new()
    cut.from_mesh(mesh)

    def along(turn_rad: float) -> Array:
        return turned @ [np.cos(turn_rad), np.sin(turn_rad), 0.0]

    def cut_through(faces: list[Any], planes: list[tuple[Array, Array]]) -> list[Any]:
        # in the faces' own order, so that the same block is cut the same way each time
        edges, points = (e for f in faces for e in f.edges), (v for f in faces for v in f.verts)
        geometry: Any = [*dict.fromkeys(points), *dict.fromkeys(edges), *faces]
        for place, normal in planes:
            made = bmesh.ops.bisect_plane(
                cut, geom=geometry, plane_co=place.tolist(), plane_no=normal.tolist()
            )
            geometry = made["geom"]
        return [part for part in geometry if isinstance(part, bmesh.types.BMFace)]

    top = [face for face in cut.faces if face.normal.z > 0.5]
    fan = view.directions_rad(*WATER_GRID)
    top = cut_through(top, [(local, along(turn - np.pi / 2.0)) for turn in fan])
    quarter: dict[int, list[Any]] = {}
    for face in top:
        x, y, _ = np.linalg.inv(turned) @ (np.array(face.calc_center_median()) - local)
        quarter.setdefault(int(np.round(np.arctan2(y, x) / (np.pi / 2.0))) % 4, []).append(face)
    for side, faces in quarter.items():
        forward = along(side * np.pi / 2.0)
        cut_through(faces, [(local + step * forward, forward) for step in WATER_STEPS_M])
    cut.to_mesh(mesh)
    cut.free()
    mesh.update()

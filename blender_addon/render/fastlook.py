"""The fast look: Workbench draws flat colours, and the colours are worked out corner by corner (fastcolours).

Workbench adds what needs geometry: what is hidden, and the shadows of the sun. A camera of its own stands
where the frame's stands, so that Blender needn't go through the scene's keys.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, Generic, TypeVar

import bmesh
import bpy
import numpy as np
from attrs import evolve, frozen
from mathutils import Matrix, Vector
from numpy.typing import NDArray

from planner_core.draft.sky import picture_light
from planner_core.frames import FrameTable
from planner_core.light import lamps
from planner_core.light.colour import LUMINANCE
from planner_core.light.sky import on_level_ground
from planner_core.rig import geometry

from ..scene import blocking, materials, nightlights, parts, tides
from ..scene.materials import COLOURS
from . import fastatlas, fastcolours, fastground, fastview
from .fastatlas import ColourAtlas
from .fastcolours import FOCUS, Corners
from .fastview import View

Array = NDArray[np.float64]
Result = TypeVar("Result")

CAMERA_PART = "fast look camera"
LEAST_DOME_M = 8000.0
FAR_GROUND_M = 700.0  # beyond which the level ground is painted
DISC_SHARE = 0.98  # of the dome's radius
BACKGROUND = (0.05, 0.05, 0.05)  # between ground and sky, where anything of it is seen
EDGE_COLOUR = (0.02, 0.02, 0.025)
MOST_BEAMS, BETWEEN_BEAMS = 200, 0.03  # so many of a move's tell; a face may turn so far between two of them
LEAST_SHADOW = 0.01  # share of the light
DOWN = (0.0, 0.0, -1.0)  # a normal that lies in the shade, evenly, whenever the sun is up
NEAREST_M = 0.1  # nothing is nearer to the lens; depths far away are told apart the better


class FastLook:
    """A drawn scene prepared for the fast look. show(frame) puts the frame's colours and shadows in."""

    def __init__(self, scene: bpy.types.Scene, frames: FrameTable, panes: lamps.Panes) -> None:
        self.scene, self.frames = scene, frames
        self.light = picture_light(frames)
        self.whole_light = on_level_ground(self.light, frames.sun_direction, frames.moon_direction)
        self.eye, self.view = geometry.head_middle_m(frames.plan), fastview.in_view(frames)
        _choose_shading(scene)
        assert scene.camera is not None
        lens: Any = scene.camera.data
        lens.clip_start = NEAREST_M
        self.camera = parts.new_object(CAMERA_PART, "Draft camera", lens, scene.collection)  # type: ignore[arg-type]
        scene.camera = self.camera
        things = [t for t in scene.collection.all_objects if t.type == "MESH" and not t.hide_render]
        for thing in things:
            tides.stop(thing)  # show sets it
        scene.view_layers[0].update()
        for thing in things:
            # what lies flat throws no shadow worth seeing, and Workbench would lose those that fall on it
            if lies_flat(thing) or thing.get(blocking.SHAPE_KEY) == "ridge":
                thing.display.show_shadows = False
            if thing.get(blocking.ROLE_KEY) == "water":
                _cut_mesh(thing, self.eye, self.view)
        self.pieces = _pieces(things, frames, self.eye)
        self.corners = fastcolours.CornerColours(
            frames, self.light, panes, [piece.corners for piece in self.pieces]
        )
        self.sky: fastcolours.SkyColours | None = None
        self.dome: _Dome | None = None
        self.atlas: ColourAtlas | None = None
        self.ahead = _Ahead(self._worked_out)

    def _dome_radius_m(self) -> float:
        """Beyond all blocks, but no farther: far away, Workbench can't tell depths apart."""
        return dome_radius_m(
            [p.corners.places for p in self.pieces if parts.part_of(p.thing) != "ground"], self.eye
        )

    def stand_still(self) -> None:
        """Take the keys out of the scene: all that changes is put in frame by frame."""
        moving: list[Any] = [*self.scene.collection.all_objects, self.scene.world]
        moving += [thing.data for thing in self.scene.collection.all_objects if thing.data is not None]
        for owner in (*moving, getattr(self.scene.world, "node_tree", None)):
            if owner is not None:
                parts.stop_moving(owner)

    def foresee(self, number: int) -> None:
        """Work a frame out in another thread, while Blender draws the one before."""
        if self.atlas is not None:
            self.ahead.begin(number)

    def clear(self) -> None:
        """Take out of the file what isn't the scene's."""
        if self.atlas is not None:
            self.atlas.remove()
            self.atlas = None

    def _worked_out(self, number: int) -> _FrameColours:
        lit = self.corners.lit(number)
        # what Workbench will leave of a corner that no other thing shades
        left = 1.0 - lit.shadow * np.where(self.corners.in_shade, 1.0, 1.0 - lit.takes_shadow)
        assert self.sky is not None
        assert self.atlas is not None
        discs, sky = self.sky.shown(number)
        colours = [lit.rows / left[:, None], sky / (1.0 - lit.shadow)]
        shade: dict[int, Array] = {}
        sun, eye = self.frames.sun_direction[number - 1], self.frames.camera_m[number - 1]
        for index, piece in self._shaded():
            if lit.shadow > LEAST_SHADOW:
                shade[index] = fastground.shade(piece.level, piece.cast.places, piece.cast.normals, sun, eye)
                on_it = self.corners.on_level(number, piece.albedo, shade[index], in_shade=True)
                colours.append(on_it / (1.0 - lit.shadow))
            else:
                colours.append(np.zeros_like(piece.cast.places))
        texels = self.atlas.layout.texels(np.concatenate(colours).astype(np.float32))
        return _FrameColours(texels, lit.shadow, discs, shade)

    def _shaded(self) -> list[tuple[int, _LevelPiece]]:
        """Level ground that shade may fall on, with its number among the pieces."""
        levels = ((index, piece) for index, piece in enumerate(self.pieces) if isinstance(piece, _LevelPiece))
        return [(index, piece) for index, piece in levels if len(piece.cast.places)]

    def _begin(self) -> None:
        """Draw the sky as finely as the pictures are, and lay out the colours of all there is."""
        width = float(self.scene.render.resolution_x)
        self.sky = fastcolours.SkyColours(self.frames, self.light, self.view, width)
        self.dome = _Dome(self.scene, self.eye, self.sky, self._dome_radius_m())
        count = len(self.corners.albedo)
        rows = [*self.corners.alike, count + self.dome.points_of_corners()]
        count += self.sky.points
        for index, piece in self._shaded():
            rows[index] = np.append(rows[index], count + np.arange(len(piece.cast.places)))
            count += len(piece.cast.places)
        meshes = [*(piece.mesh for piece in self.pieces), self.dome.mesh]
        self.atlas = ColourAtlas(meshes, rows)

    def show(self, number: int) -> None:
        """Put a frame's camera, colours and shadows in; number counts from 1."""
        frame = number - 1
        stands = np.eye(4)
        stands[:3, :3], stands[:3, 3] = self.frames.camera_rotation[frame], self.frames.camera_m[frame]
        self.camera.matrix_basis = Matrix(stands.tolist())
        tides.stand(self.scene, self.frames, frame)
        if self.atlas is None:
            self._begin()
        assert self.atlas is not None
        assert self.dome is not None
        now = self.ahead.result(number)
        for index, piece in self._shaded():
            piece.lay(now.shade.get(index))
        self.dome.show(now.discs)
        self.atlas.show(now.texels)
        display: Any = self.scene.display
        display.shading.show_shadows = bool(now.shadow > LEAST_SHADOW)
        display.shading.shadow_intensity = float(np.clip(now.shadow, 0.0, 1.0))
        edges = min(1.0, float(self.whole_light[frame] @ LUMINANCE))  # lines no brighter than the picture is
        display.shading.object_outline_color = [edges * part for part in EDGE_COLOUR]
        sun = self.frames.sun_direction[frame]
        if self.light.sun[frame].max() > 0.0:
            display.light_direction = (sun[0], sun[2], -sun[1])  # Workbench turns it, with Y up


class _Ahead(Generic[Result]):
    """What a frame needs worked out, in another thread while Blender draws the one before."""

    def __init__(self, work_out: Callable[[int], Result]) -> None:
        self.work_out = work_out
        self.worker = ThreadPoolExecutor(1)
        self.begun: dict[int, Future[Result]] = {}

    def begin(self, number: int) -> None:
        """Begin on a frame, counted from 1."""
        if number not in self.begun:
            self.begun[number] = self.worker.submit(self.work_out, number)

    def result(self, number: int) -> Result:
        """What a frame needs, whether it was begun on or not."""
        begun = self.begun.pop(number, None)
        return begun.result() if begun is not None else self.work_out(number)


@frozen(eq=False)
class _FrameColours:
    """A frame worked out: the atlas's texels, as Workbench is to be given them; how much a shadow takes;
    where the points of discs and stars stand; and by the number of a piece of level ground, where the shade
    on it is.
    """

    texels: NDArray[np.float32]
    shadow: float
    discs: Array
    shade: dict[int, Array]


class Painted:
    """Water and far land of a drawn scene painted for an engine that can't average over waves, and whose
    shadows don't reach so far. show(frame) puts the frame's colours in, which are those of the fast look.
    """

    def __init__(self, scene: bpy.types.Scene, frames: FrameTable) -> None:
        eye, view = geometry.head_middle_m(frames.plan), fastview.in_view(frames)
        things = [t for t in scene.collection.all_objects if t.type == "MESH" and not t.hide_render]
        self.pieces, seen = [], []
        for thing in things:
            if thing.get(blocking.ROLE_KEY) == "water":
                _cut_mesh(thing, eye, view)
            elif parts.part_of(thing) != "ground" and thing.get(blocking.SHAPE_KEY) != "ridge":
                if parts.part_of(thing) == "block":
                    seen.append(corners_of(thing, thing.data, np.array(thing.matrix_world)))
                continue
            _shine_as_painted(thing, eye)
            self.pieces.append(_Painted(thing))
        own = [corners_of(p.thing, p.mesh, tides.planned_matrix(p.thing)) for p in self.pieces]
        self.corners = fastcolours.CornerColours(
            frames, picture_light(frames), lamps.panes(frames.plan, eye), own + seen, filtered=False
        )
        self.ahead = _Ahead(lambda number: self.corners.lit(number).rows)

    def foresee(self, number: int) -> None:
        """Work a frame out in another thread, while EEVEE draws the one before."""
        self.ahead.begin(number)

    def show(self, number: int) -> None:
        """Paint a frame; number counts from 1."""
        rows = self.ahead.result(number)
        for piece, alike in zip(self.pieces, self.corners.alike, strict=False):
            piece.paint(rows[alike])


def _shine_as_painted(thing: bpy.types.Object, eye: Array) -> None:
    """Give the painted material to a thing, or to as much of it as lies far off."""
    mesh: Any = thing.data
    if parts.part_of(thing) != "ground":
        mesh.materials.clear()
    mesh.materials.append(materials.painted_material())
    world, slot = np.array(thing.matrix_world), len(mesh.materials) - 1
    for face in mesh.polygons:
        outer = world[:3, :3] @ np.array(mesh.vertices[face.vertices[0]].co) + world[:3, 3]
        if slot == 0 or np.linalg.norm(outer - eye) > FAR_GROUND_M:
            face.material_index = slot


def lies_flat(thing: bpy.types.Object) -> bool:
    """Whether a thing is ground or water."""
    return thing.get(blocking.ROLE_KEY) in ("ground", "water") or parts.part_of(thing) == "ground"


def dome_radius_m(places: list[Array], eye: Array) -> float:
    """How far out the sky is drawn: beyond all places, each (n, 3), but no farther."""
    reach = [float(np.linalg.norm(some - eye, axis=1).max()) for some in places if len(some)]
    return max([LEAST_DOME_M, *(1.1 * far for far in reach)])


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

    def paint(self, colours: NDArray[Any]) -> None:
        """Linear colours, shape (count, 3), or those of the first."""
        self.buffer[: len(colours), :3] = colours
        self.mesh.color_attributes[COLOURS].data.foreach_set("color", self.buffer.ravel())
        self.mesh.update_tag()


class _Piece:
    """A block's or the ground's mesh, and its corners."""

    def __init__(self, thing: bpy.types.Object, eye: Array) -> None:
        if thing.get(blocking.SHAPE_KEY) == "ridge":
            _turn_to(thing, eye)
        mesh: Any = thing.data
        self.thing, self.mesh = thing, mesh
        self.corners = corners_of(thing, mesh, np.array(thing.matrix_world))
        if thing.get(blocking.ROLE_KEY) == "water" or thing.get(blocking.SHAPE_KEY) == "ridge":
            # water mirrors, and a ridge is too far away for Workbench's shadows
            _set_normals(mesh, np.tile(DOWN, (len(mesh.loops), 1)))


@frozen(eq=False)
class _Faces:
    """Faces that share no points: places of their corners (n, 3), normals of the faces for each of these, and
    where among them each face begins.
    """

    places: Array
    normals: Array
    starts: NDArray[np.int32]


class _LevelPiece(_Piece):
    """Level ground, with pools of lamplight on it and the shade of what stands there. Workbench lays its own
    shadow evenly on all of what lies level, as if it were turned from the sun, and so shows none there.
    """

    def __init__(
        self, thing: bpy.types.Object, eye: Array, level: fastground.Level, pools: _Faces, cast: _Faces
    ) -> None:
        mesh: Any = thing.data
        self.level, self.cast = level, cast
        self.to_own = np.linalg.inv(np.array(thing.matrix_world))
        _add_faces(mesh, pools, self._own(pools.places))
        corners = corners_of(thing, mesh, np.array(thing.matrix_world))
        flat = corners.normals[:, 2] > fastcolours.LEVEL
        own = np.empty(3 * len(mesh.loops), dtype=np.float32)
        mesh.corner_normals.foreach_get("vector", own)
        normals = np.where(flat[:, None], DOWN, own.reshape(-1, 3))
        self.points = len(mesh.vertices)
        _add_faces(mesh, cast, np.zeros((len(cast.places), 3)))
        normals = np.vstack([normals, np.tile(DOWN, (len(cast.places), 1))])
        super().__init__(thing, eye)
        _set_normals(mesh, normals)
        self.corners = evolve(corners, in_shade=corners.in_shade | flat)
        colour: Any = thing.color
        self.albedo = np.array(colour[:3], dtype=np.float64)
        self.places = np.empty(3 * len(mesh.vertices), dtype=np.float32)
        mesh.vertices.foreach_get("co", self.places)
        self.places = self.places.reshape(-1, 3)
        self.is_laid = False

    def _own(self, places: Array) -> Array:
        return places @ self.to_own[:3, :3].T + self.to_own[:3, 3]

    def lay(self, places: Array | None) -> None:
        """Lay shade, or none; places (points, 3) in scene metres."""
        if places is None and not self.is_laid:
            return
        self.places[self.points :] = 0.0 if places is None else self._own(places)
        self.is_laid = places is not None
        self.mesh.vertices.foreach_set("co", self.places.ravel())
        self.mesh.update_tag()


def _pieces(things: list[bpy.types.Object], frames: FrameTable, eye: Array) -> list[_Piece]:
    """Things in pieces, level ground with what lies on it."""
    ground = next((thing for thing in things if parts.part_of(thing) == "ground"), None)
    high_m = float(ground.matrix_world.translation.z) if ground is not None else 0.0
    levels = {one.block: one for one in fastground.levels(frames.plan, high_m)}
    pools = {
        block: _Faces(
            places[faces.ravel()], np.zeros((faces.size, 3)), np.arange(0, faces.size, 3, dtype=np.int32)
        )
        for block, places, faces in fastground.pool_discs(
            lamps.pools(frames.plan, eye), list(levels.values()), eye
        )
    }
    beams = frames.sun_direction[frames.sky_light.sun.max(axis=1) > 0.0]
    casting = [t for t in things if t.display.show_shadows and parts.part_of(t) == "block"]
    nothing = _joined([])
    pieces: list[_Piece] = []
    for thing in things:
        is_ground = thing.get(blocking.ROLE_KEY) == "ground" and not blocking.is_own(thing)
        block = -1 if thing is ground else int(thing.get(parts.INDEX_KEY, -2)) if is_ground else -2
        if block not in levels:
            pieces.append(_Piece(thing, eye))
            continue
        level = levels[block]
        near = [one for one in casting if fastground.may_shade(level, _box_m(one), beams)]
        cast = _joined([_turned_to_beams(_faces_of(one), beams) for one in near])
        pieces.append(_LevelPiece(thing, eye, level, pools.get(block, nothing), cast))
    return pieces


def _box_m(thing: bpy.types.Object) -> Array:
    """The corners of a thing's bounding box, (8, 3)."""
    return np.array([thing.matrix_world @ Vector(corner) for corner in thing.bound_box])


def _faces_of(thing: bpy.types.Object) -> _Faces:
    mesh: Any = thing.data
    places = np.empty(3 * len(mesh.vertices), dtype=np.float32)
    mesh.vertices.foreach_get("co", places)
    corners = np.empty(len(mesh.loops), np.int32)
    starts, sizes = np.empty(len(mesh.polygons), np.int32), np.empty(len(mesh.polygons), np.int32)
    normals = np.empty(3 * len(mesh.polygons), dtype=np.float32)
    mesh.loops.foreach_get("vertex_index", corners)
    for name, values in (("loop_start", starts), ("loop_total", sizes), ("normal", normals)):
        mesh.polygons.foreach_get(name, values)
    mesh.calc_loop_triangles()
    threes, of_faces = (np.empty(n * len(mesh.loop_triangles), np.int32) for n in (3, 1))
    mesh.loop_triangles.foreach_get("loops", threes)
    mesh.loop_triangles.foreach_get("polygon_index", of_faces)
    wide = sizes > fastatlas.CORNERS
    whole = np.flatnonzero(~np.repeat(wide, sizes))
    cut = np.flatnonzero(wide[of_faces])
    world = np.array(thing.matrix_world)
    turned = normals.reshape(-1, 3) @ np.linalg.inv(world[:3, :3])
    spots = places.reshape(-1, 3)[corners] @ world[:3, :3].T + world[:3, 3]
    sizes = np.concatenate([sizes[~wide], np.full(len(cut), 3, np.int32)])
    return _Faces(
        spots[np.concatenate([whole, threes.reshape(-1, 3)[cut].ravel()])],
        np.repeat(np.concatenate([turned[~wide], turned[of_faces[cut]]]), sizes, axis=0),
        (np.cumsum(sizes) - sizes).astype(np.int32),
    )


def _turned_to_beams(faces: _Faces, beams: Array) -> _Faces:
    """Those faces that any of the beams from unit directions (n, 3) falls on: the others throw no shade."""
    some = beams[:: max(1, len(beams) // MOST_BEAMS)]
    sizes = np.diff([*faces.starts, len(faces.places)])
    lit = (faces.normals[faces.starts] @ some.T).max(axis=1, initial=-1.0) > -BETWEEN_BEAMS
    corners = np.repeat(lit, sizes)
    kept = sizes[lit]
    starts = (np.cumsum(kept) - kept).astype(np.int32)
    return _Faces(faces.places[corners], faces.normals[corners], starts)


def _joined(some: list[_Faces]) -> _Faces:
    before = np.cumsum([0, *(len(one.places) for one in some)])
    starts = [one.starts + at for one, at in zip(some, before, strict=False)]
    return _Faces(
        np.concatenate([np.zeros((0, 3)), *(one.places for one in some)]),
        np.concatenate([np.zeros((0, 3)), *(one.normals for one in some)]),
        np.concatenate([np.zeros(0, np.int32), *starts]).astype(np.int32),
    )


def _add_faces(mesh: Any, faces: _Faces, own: Array) -> None:
    """Add faces to a mesh, their points at places in its own axes."""
    if not len(faces.starts):
        return
    points, loops, polygons = len(mesh.vertices), len(mesh.loops), len(mesh.polygons)
    mesh.vertices.add(len(own))
    mesh.loops.add(len(own))
    mesh.polygons.add(len(faces.starts))
    for collection, name, before, values, width in (
        (mesh.vertices, "co", points, own, 3),
        (mesh.loops, "vertex_index", loops, points + np.arange(len(own)), 1),
        (mesh.polygons, "loop_start", polygons, faces.starts + loops, 1),
    ):
        whole = np.zeros(len(collection) * width, dtype=np.float32 if width == 3 else np.int32)
        collection.foreach_get(name, whole)
        whole[before * width :] = np.asarray(values).ravel()
        collection.foreach_set(name, whole)
    mesh.update(calc_edges=True)


def _turn_to(thing: bpy.types.Object, eye: Array) -> None:
    """Have a sheet's faces look at the camera: Workbench would turn the normals of those that don't."""
    mesh: Any = thing.data
    to_eye = Vector((np.linalg.inv(np.array(thing.matrix_world)) @ np.append(eye, 1.0))[:3])
    if sum(float(face.normal.dot(to_eye - face.center)) for face in mesh.polygons) < 0.0:
        mesh.flip_normals()


def corners_of(thing: bpy.types.Object, mesh: Any, world: Array) -> Corners:
    """The corners of a thing's mesh that stands where a matrix (4, 4) says."""
    count = len(mesh.loops)
    flat = np.empty(3 * count, dtype=np.float32)
    mesh.corner_normals.foreach_get("vector", flat)
    numbers = np.empty(count, dtype=np.int32)
    mesh.loops.foreach_get("vertex_index", numbers)
    vertices = np.empty(3 * len(mesh.vertices), dtype=np.float32)
    mesh.vertices.foreach_get("co", vertices)
    return corners_at(
        thing,
        vertices.reshape(-1, 3)[numbers].astype(np.float64),
        flat.reshape(-1, 3).astype(np.float64),
        world,
    )


def corners_at(thing: bpy.types.Object, own: Array, normals: Array, world: Array) -> Corners:
    """Corners and normals (n, 3) in a thing's own axes, as those of a thing of its role and colour in the
    scene's.
    """
    count = len(own)
    places = own @ world[:3, :3].T + world[:3, 3]
    normals = normals @ np.linalg.inv(world[:3, :3])
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-12)[:, None]
    role = thing.get(blocking.ROLE_KEY)
    is_water = role == "water"
    is_glass = parts.part_of(thing) == nightlights.PART  # its panes have four corners each
    colour: Any = thing.color
    albedo = np.tile(np.array(colour[:3], dtype=np.float64), (count, 1))
    if role in ("subject", "foreground", "background"):
        albedo = fastcolours.shaded_to_foot(albedo, places, normals)
    return Corners(
        places=places,
        normals=normals,
        albedo=albedo,
        is_water=np.full(count, is_water) & (normals[:, 2] > 0.5),
        in_shade=np.full(count, is_water or thing.get(blocking.SHAPE_KEY) == "ridge"),
        pane=np.arange(count) // 4 if is_glass else np.full(count, -1),
        block=int(thing.get(parts.INDEX_KEY, -1)),
    )


class _Dome:
    """The sky as part of a sphere around the camera, with the discs of sun and moon and the stars before it.

    All is one object, so that no edges are drawn in it, and its normals point down: for Workbench it lies
    in the shade, evenly, whenever the sun is up.
    """

    def __init__(
        self, scene: bpy.types.Scene, eye: Array, sky: fastcolours.SkyColours, radius_m: float
    ) -> None:
        self.dome_vertices = len(sky.outward)
        self.vertices = np.vstack([sky.outward * radius_m, np.zeros((sky.discs, 3))])
        self.disc_m = DISC_SHARE * radius_m
        thing = _look_object(scene, "sky dome", "Sky dome", self.vertices, sky.faces)
        thing.location = eye.tolist()
        mesh: Any = thing.data
        self.mesh = mesh
        _set_normals(mesh, np.tile(DOWN, (len(mesh.loops), 1)))

    def points_of_corners(self) -> NDArray[np.intp]:
        """Which of the sky's points each corner of the mesh is."""
        numbers = np.empty(len(self.mesh.loops), dtype=np.int32)
        self.mesh.loops.foreach_get("vertex_index", numbers)
        return numbers.astype(np.intp)

    def show(self, discs: Array) -> None:
        """Put a frame's discs and stars where their points are, by their directions."""
        self.vertices[self.dome_vertices :] = self.disc_m * discs
        self.mesh.vertices.foreach_set("co", self.vertices.astype(np.float32).ravel())
        self.mesh.update_tag()


def _set_normals(mesh: Any, normals: Array) -> None:
    """Give a mesh's corners normals (n, 3) of their own."""
    held = mesh.attributes.new("custom_normal", "FLOAT_VECTOR", "CORNER")
    held.data.foreach_set("vector", normals.astype(np.float32).ravel())


def _choose_shading(scene: bpy.types.Scene) -> None:
    display: Any = scene.display
    shading = display.shading
    shading.light, shading.color_type = "FLAT", "TEXTURE"
    shading.background_type, shading.background_color = "VIEWPORT", BACKGROUND
    shading.show_object_outline = True
    shading.object_outline_color = EDGE_COLOUR
    shading.show_cavity, shading.cavity_type = True, "SCREEN"
    shading.curvature_ridge_factor, shading.curvature_valley_factor = 0.6, 1.2
    shading.show_shadows, shading.show_xray, shading.use_dof = True, False, False
    display.shadow_shift, display.shadow_focus = 0.0, 1.0 - FOCUS


def _look_object(
    scene: bpy.types.Scene, part: str, name: str, vertices: Array, faces: list[tuple[int, ...]]
) -> bpy.types.Object:
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices.tolist(), [], faces)
    thing = parts.new_object(part, name, mesh, scene.collection)  # type: ignore[arg-type]
    thing.display.show_shadows = False
    return thing


def _cut_mesh(thing: bpy.types.Object, eye: Array, view: View) -> None:
    """Cut a water block's mesh finely, in place."""
    mesh: Any = thing.data
    cut = bmesh.new()
    cut.from_mesh(mesh)
    cut_finely(cut, np.array(thing.matrix_world), eye, view)
    cut.to_mesh(mesh)
    cut.free()
    mesh.update()


def cut_finely(cut: Any, world: Array, eye: Array, view: View) -> None:
    """Cut a water block into a fan seen from the camera, and that across, finer close by, so that mirrored
    colours can change over it. world is the matrix (4, 4) that it stands by.
    """
    to_local = np.linalg.inv(world)
    turned, local = to_local[:3, :3], (to_local @ np.append(eye, 1.0))[:3]

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
    fan = view.directions_rad(*fastview.WATER_GRID)
    top = cut_through(top, [(local, along(turn - np.pi / 2.0)) for turn in fan])
    quarter: dict[int, list[Any]] = {}
    for face in top:
        x, y, _ = np.linalg.inv(turned) @ (np.array(face.calc_center_median()) - local)
        quarter.setdefault(int(np.round(np.arctan2(y, x) / (np.pi / 2.0))) % 4, []).append(face)
    for side, faces in quarter.items():
        forward = along(side * np.pi / 2.0)
        cut_through(faces, [(local + step * forward, forward) for step in fastview.WATER_STEPS_M])

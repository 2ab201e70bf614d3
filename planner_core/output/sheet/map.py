"""The place from above, to scale and north up: blocks, rail, fields of view, where sun and moon stand; and
the rig close up, for laying the rail with a tape measure.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.evening.sunlight import moon_up, sun_up
from planner_core.evening.timetable import Moment
from planner_core.frames import FrameTable
from planner_core.maths.angles import compass_deg
from planner_core.maths.convex import smallest_rectangle
from planner_core.output.sheet.draw import Canvas, round_step, text_width
from planner_core.picture.projection import delivered_crop, field_of_view_deg
from planner_core.place import blocking
from planner_core.place.ground import height_above_ground_m, outline_m
from planner_core.place.roofs import ridge_lines
from planner_core.plan.model import Plan
from planner_core.rig.geometry import carriage_position_m

Array = NDArray[np.float64]

Outlines = list[tuple[int, Array]]

FLAT = ("water", "ground")
LABELLED = 14
CLOSE_M = 6.0  # blocks so near to the rail are measured out with a tape
CROWDED_MM = 15.0  # names of what is nearer to the rail than this on paper would lie on each other
SAME_MM = 1.5  # parts of one thing, as a tower and its roof, get one name
THIN_MM = 0.5  # what is thinner on paper is drawn as a line
FONT = 2.6
TICK_MM = 5.0  # from the border towards the camera, for where sun and moon stand


@frozen(kw_only=True)
class Bearing:
    """Where a body stands at one moment of the shoot; up says whether its upper limb is above the horizon."""

    body: str
    when: str
    frame: int
    bearing_deg: float
    altitude_deg: float
    up: bool


@frozen(kw_only=True)
class Measured:
    """A block's nearest part from the rail's start, for laying it out."""

    name: str
    role: str
    distance_m: float
    bearing_deg: float
    height_m: float


def bearings(frames: FrameTable, event: Moment | None) -> tuple[Bearing, ...]:
    """Sun and moon at start, event and end, from the FrameTable's rows."""
    places = [("start", 1), ("end", len(frames))]
    if event is not None and event.frame is not None and 1 < event.frame < len(frames):
        places.insert(1, (event.label.lower(), event.frame))
    if len(frames) == 1:
        places = places[:1]
    rows = []
    for body, up in (("sun", sun_up(frames)), ("moon", moon_up(frames))):
        azimuth, altitude = getattr(frames, f"{body}_azimuth_deg"), getattr(frames, f"{body}_altitude_deg")
        for when, number in places:
            rows.append(
                Bearing(
                    body=body,
                    when=when,
                    frame=number,
                    bearing_deg=float(azimuth[number - 1]),
                    altitude_deg=float(altitude[number - 1]),
                    up=bool(up[number - 1]),
                )
            )
    return tuple(rows)


def measured(plan: Plan, outlines: Outlines, most: int = 6) -> tuple[Measured, ...]:
    """Foreground, then subject, then what else is near, from the rail's start."""
    eye = np.asarray(plan.rig.origin_m[:2], dtype=np.float64)
    order = {"foreground": 0, "subject": 1}
    away = {
        index: _nearest(ring, eye) - eye for index, ring in outlines if plan.blocks[index].role not in FLAT
    }
    chosen = sorted(away, key=lambda i: (order.get(plan.blocks[i].role, 2), float(np.hypot(*away[i]))))[:most]
    return tuple(_measured(plan, index, away[index]) for index in chosen)


def _measured(plan: Plan, index: int, offset: Array) -> Measured:
    block = plan.blocks[index]
    top = float(blocking.block_mesh(plan, block).vertices_m[:, 2].max())
    bearing = float(np.degrees(np.arctan2(offset[0], offset[1])) + plan.site.scene_north_deg)
    return Measured(
        name=blocking.block_label(plan, index),
        role=block.role,
        distance_m=float(np.hypot(*offset)),
        bearing_deg=compass_deg(bearing),
        height_m=height_above_ground_m(plan, (*plan.rig.origin_m[:2], top)),
    )


def _toward(start: Array, goal: Array, length: float) -> Array:
    """The point so far from start on the way to goal, at most the goal."""
    away = goal - start
    return start + away * min(length / max(float(np.hypot(*away)), 1e-9), 1.0)


def _nearest(outline: Array, point: Array) -> Array:
    """The point of an outline's edges nearest to a point."""
    edge = np.roll(outline, -1, axis=0) - outline
    length = np.maximum(np.sum(edge**2, axis=1), 1e-12)
    fraction = np.clip(np.sum((point - outline) * edge, axis=1) / length, 0.0, 1.0)
    nearest = outline + fraction[:, None] * edge
    return nearest[int(np.argmin(np.linalg.norm(nearest - point, axis=1)))]


def block_outlines(plan: Plan) -> Outlines:
    """Every block's outline from above with its index, ridges left out."""
    return [
        (index, outline_m(plan, block)) for index, block in enumerate(plan.blocks) if block.shape != "ridge"
    ]


def place_svg(
    plan: Plan,
    frames: FrameTable,
    event: Moment | None,
    outlines: Outlines,
    width: float,
    height: float,
    prefix: str,
) -> str:
    """The whole place: from the rail to the subject and what stands around it."""
    view = _View(plan, width, height, prefix, "The place from above")
    view.frame_on(_place_extent(plan, outlines, frames), margin=0.06)
    marks = view.marks(frames.camera_m[0], bearings(frames, event))
    view.reserve([end for _, end in marks])
    view.blocks(outlines)
    view.fields(frames)
    view.bodies(frames.camera_m[0], marks)
    view.rail(frames)
    view.names(_apart(plan, outlines, view.scale))
    view.furniture()
    return view.canvas.svg()


def rig_svg(plan: Plan, frames: FrameTable, outlines: Outlines, width: float, height: float) -> str:
    """The rail, the camera's places on it, and the nearest blocks."""
    view = _View(plan, width, height, "r", "The rig from above")
    eye = np.asarray(plan.rig.origin_m[:2], dtype=np.float64)
    near = [
        (index, ring)
        for index, ring in outlines
        if plan.blocks[index].role not in FLAT and np.hypot(*(_nearest(ring, eye) - eye)) < CLOSE_M
    ]
    rail = _rail_ends(plan)
    points = np.vstack([rail, frames.camera_m[:, :2]])
    around = max(float(np.ptp(points, axis=0).max()) * 0.5, 0.8)
    view.frame_on(np.vstack([points.min(axis=0) - around, points.max(axis=0) + around]), margin=0.02)
    view.reserve([])
    view.blocks(near)
    view.fields(frames)
    view.rail(frames, close=True)
    view.names(near)
    view.furniture()
    return view.canvas.svg()


def _apart(plan: Plan, outlines: Outlines, scale: float) -> Outlines:
    """Without what stands so near to the rail that only the rig's drawing can show which is which."""
    if CLOSE_M * scale > CROWDED_MM:
        return outlines
    eye = np.asarray(plan.rig.origin_m[:2], dtype=np.float64)
    return [
        (index, ring)
        for index, ring in outlines
        if plan.blocks[index].role in FLAT or float(np.hypot(*(_nearest(ring, eye) - eye))) >= CLOSE_M
    ]


def _place_extent(plan: Plan, outlines: Outlines, frames: FrameTable) -> Array:
    """Corners to show: the rig, the subject, and other blocks not much farther than that."""
    eye = frames.camera_m[:, :2]
    subjects = set(blocking.subject_indices(plan))
    solid = [(index, ring) for index, ring in outlines if plan.blocks[index].role not in FLAT]
    reach = {index: float(np.max(np.linalg.norm(ring - eye[0], axis=1))) for index, ring in solid}
    wanted = [reach[index] for index in subjects if index in reach]
    limit = 1.5 * max(wanted, default=0.0)
    if not wanted:
        limit = float(np.percentile(list(reach.values()), 80)) if reach else 20.0
    shown = [ring for index, ring in solid if reach[index] <= max(limit, 5.0)]
    ahead = frames.camera_m[0, :2] + 0.3 * limit * (-frames.camera_rotation[0, :2, 2])
    return np.vstack([eye, _rail_ends(plan), ahead, *shown])


def _rail_ends(plan: Plan) -> Array:
    """Both ends of the rail's usable part, scene metres (2, 2); the tripod's place twice where there is no
    rail.
    """
    axis = plan.rig.slide
    ends = [axis.min_m, axis.max_m] if axis is not None else [0.0, 0.0]
    return carriage_position_m(plan, np.array(ends))[:, :2]


class _View:
    """A map: scene metres to paper, north up, with its frame, scale and arrow."""

    def __init__(self, plan: Plan, width: float, height: float, prefix: str, label: str) -> None:
        self.plan, self.width, self.height = plan, width, height
        self.canvas = Canvas(width, height, prefix, label)
        self.turn = np.radians(plan.site.scene_north_deg)
        self.scale, self.middle = 1.0, np.zeros(2)  # millimetres a metre; east and north of the middle
        crop = delivered_crop(plan.camera, plan.clip)
        self.half_field_deg = float(field_of_view_deg(crop.width_mm, plan.camera.focal_length_mm)) / 2.0
        self.taken: list[tuple[float, float, float, float]] = []
        self.metres = 1.0
        self.scale_at, self.arrow_at = (0.0, 0.0), (0.0, 0.0)

    def east_north(self, xy_m: Array) -> Array:
        x, y = np.asarray(xy_m, dtype=np.float64)[..., 0], np.asarray(xy_m, dtype=np.float64)[..., 1]
        cos, sin = np.cos(self.turn), np.sin(self.turn)
        return np.stack([x * cos + y * sin, y * cos - x * sin], axis=-1)

    def paper(self, xy_m: Array) -> Array:
        offset = (self.east_north(xy_m) - self.middle) * self.scale
        return np.stack([self.width / 2.0 + offset[..., 0], self.height / 2.0 - offset[..., 1]], axis=-1)

    def frame_on(self, xy_m: Array, margin: float) -> None:
        """Fit points into the paper, with a share of margin all round and room for labels."""
        points = self.east_north(xy_m)
        low, high = points.min(axis=0), points.max(axis=0)
        room = np.array([self.width, self.height]) * (1.0 - 2.0 * margin) - 2.0 * FONT * 1.6
        size = np.maximum(high - low, 0.5)
        self.scale = float(np.min(room / size))
        self.middle = (low + high) / 2.0
        self.canvas.box(0, 0, self.width, self.height, "sheet-ground")
        self.canvas.inside(0, 0, self.width, self.height)

    def blocks(self, outlines: Outlines) -> None:
        order = {"ground": 0, "water": 1, "background": 2, "subject": 3, "foreground": 4}
        for index, ring in sorted(outlines, key=lambda pair: order[self.plan.blocks[pair[0]].role]):
            drawn = self.paper(ring)
            beyond = np.any(drawn.max(axis=0) < 0.0) or np.any(drawn.min(axis=0) > (self.width, self.height))
            if beyond:
                continue
            if np.ptp(drawn, axis=0).max() < 0.8:  # too small to see: a dot keeps it on the map
                self.canvas.dot(drawn.mean(axis=0), 0.5, f"block {self.plan.blocks[index].role}")
            elif (line := _as_line(drawn)) is not None and self.plan.blocks[index].role not in FLAT:
                self.canvas.line(line[0], line[1], f"wall {self.plan.blocks[index].role}")
            else:
                self.canvas.path(drawn, f"block {self.plan.blocks[index].role}", closed=True)
                for ridge in ridge_lines(self.plan.blocks[index]):
                    start, end = self.paper(ridge)
                    self.canvas.line(start, end, "roof")

    def fields(self, frames: FrameTable) -> None:
        """Field of view at the first and the last frame."""
        far = 2.0 * np.hypot(self.width, self.height) / self.scale
        ends = ((0, "start"), (-1, "end")) if len(frames) > 1 else ((0, "start"),)
        for k, name in ends:
            eye = frames.camera_m[k, :2]
            edges = [
                eye + far * self._ahead(float(frames.lens_bearing_deg[k]) + side * self.half_field_deg)
                for side in (-1.0, 1.0)
            ]
            corner, first, second = (self.paper(point) for point in (eye, *edges))
            self.canvas.path([first, corner, second], f"field {name}", closed=True)
            for edge in (first, second):
                self.canvas.line(corner, edge, f"field-edge {name}")

    def _ahead(self, bearing_deg: float) -> Array:
        """Unit vector in the scene's plane along a compass bearing."""
        turn = np.radians(bearing_deg) - self.turn
        return np.array([np.sin(turn), np.cos(turn)])

    def marks(self, eye_m: Array, shown: tuple[Bearing, ...]) -> list[tuple[Bearing, Array]]:
        """Where sun and moon meet the map's border, seen from the camera; a moon that isn't up has no
        mark.
        """
        corner = self.paper(np.asarray(eye_m)[:2])
        ends = []
        for bearing in shown:
            if bearing.body == "moon" and not bearing.up:
                continue
            turn = np.radians(bearing.bearing_deg)
            direction = np.array([np.sin(turn), -np.cos(turn)])
            inset = 3.2
            limits = np.array([self.width - inset, self.height - inset])
            reach = [
                ((limits if w > 0 else np.full(2, inset))[axis] - corner[axis]) / w
                for axis, w in enumerate(direction)
                if abs(w) > 1e-9
            ]
            end = corner + direction * max(min((r for r in reach if r > 0), default=0.0), 0.0)
            ends.append((bearing, end))
        return ends

    def bodies(self, eye_m: Array, marks: list[tuple[Bearing, Array]]) -> None:
        """Sun and moon on the border: dot and short tick, those below the horizon a hollow dot."""
        corner = self.paper(np.asarray(eye_m)[:2])
        for bearing, end in marks:
            if bearing.up:
                self.canvas.line(end, _toward(end, corner, TICK_MM), f"{bearing.body} tick")
            self.canvas.dot(end, 1.1, f"{bearing.body}-mark" + ("" if bearing.up else " below"))
            self.taken.append((end[0] - 1.3, end[1] - 1.3, end[0] + 1.3, end[1] + 1.3))
        for bearing, end in marks:
            level = abs(end[0] - corner[0]) > abs(end[1] - corner[1])
            name = bearing.when if bearing.when.startswith(bearing.body) else f"{bearing.body} {bearing.when}"
            self._label(name, end, "s" if bearing.body == "sun" else "m", clear=1.8, above_first=level)

    def rail(self, frames: FrameTable, *, close: bool = False) -> None:
        plan = self.plan
        if plan.rig.slide is not None:
            start, end = self.paper(_rail_ends(plan))
            self.canvas.line(start, end, "rail")
            if close and frames.slide_m is not None:
                used = self.paper(carriage_position_m(plan, frames.slide_m[[0, -1]])[:, :2])
                self.canvas.line(used[0], used[1], "travel")
            if close:
                self._keep_clear(start, end)
        for k, name in ((0, "start"), (len(frames) - 1, "end"))[: len(frames)]:
            at = self.paper(frames.camera_m[k, :2])
            self.canvas.dot(at, 1.2 if close else 0.9, f"camera {name}")
            if close and (k == 0 or np.hypot(*(at - self.paper(frames.camera_m[0, :2]))) > 1.0):
                words = name
                if frames.slide_m is not None and plan.rig.slide is not None:
                    words += f" {frames.slide_m[k] * 1000.0:.0f} mm"
                self._label(words, at, "b", clear=2.0)
        if not close:
            self._label(
                "rail" if plan.rig.slide is not None else "tripod", self.paper(frames.camera_m[0, :2]), "b"
            )

    def _keep_clear(self, start: Array, end: Array, half: float = 0.7) -> None:
        """Keep words off a stroke."""
        pieces = max(int(np.hypot(*(end - start)) / half), 1)
        for x, y in np.linspace(start, end, pieces + 1):
            self.taken.append((x - half, y - half, x + half, y + half))

    def names(self, outlines: Outlines) -> None:
        """Names of the subject, the foreground and the largest of the rest, as far as there is room."""
        order = {"subject": 0, "foreground": 1, "background": 2, "water": 3, "ground": 4}

        def weight(pair: tuple[int, Array]) -> tuple[int, float]:
            return order[self.plan.blocks[pair[0]].role], -float(np.ptp(pair[1], axis=0).max())

        named = [pair for pair in outlines if self.plan.blocks[pair[0]].name]
        spots: list[tuple[Array, Array, list[int]]] = []
        middles = np.empty((len(named), 2))
        for index, ring in sorted(named, key=weight):
            drawn = self.paper(ring)
            low, high = drawn.min(axis=0), drawn.max(axis=0)
            if np.any(high <= 0.0) or np.any(low >= (self.width, self.height)):
                continue
            middle = (low + high) / 2.0
            same = np.flatnonzero(np.hypot(*(middle - middles[: len(spots)]).T) < SAME_MM)
            if len(same):
                spots[same[0]][2].append(index)
            else:
                middles[len(spots)] = middle
                spots.append((low, high, [index]))
        for low, high, parts in spots[:LABELLED]:
            low, high = np.maximum(low, 2.0), np.minimum(high, (self.width - 2.0, self.height - 2.0))
            flat = self.plan.blocks[parts[0]].role in FLAT
            name = _short(_whole([self.plan.blocks[index].name for index in parts]))
            self._label(name, (low + high) / 2.0, "q" if flat else "", half=(high - low) / 2.0)

    def _label(
        self,
        words: str,
        at: Array,
        kind: str,
        *,
        clear: float = 1.4,
        half: Array | None = None,
        above_first: bool = False,
    ) -> None:
        """Words beside a place, on the first side where nothing is written yet; left out if there is none."""
        width, tall = text_width(words, FONT, bold=kind == "b"), FONT
        sides = list(_sides(at, width, tall, clear, np.zeros(2) if half is None else half))
        for x, y in [*sides[2:], *sides[:2]] if above_first else sides:
            box = (x, y - tall * 0.8, x + width, y + tall * 0.25)
            fits = box[0] > 0.5 and box[2] < self.width - 0.5 and box[1] > 0.5 and box[3] < self.height - 0.5
            if fits and not any(_overlap(box, other) for other in self.taken):
                self.taken.append(box)
                self.canvas.text(words, x, y, FONT, f"t{kind} halo")
                return

    def reserve(self, marks: list[Array]) -> None:
        """Keep the two corners farthest from marks and camera for the scale and the north arrow."""
        self.metres = round_step(self.width * 0.3 / self.scale, 1)
        while self.metres * self.scale > self.width * 0.4:
            self.metres /= 2.0
        words = max(self.metres * self.scale, text_width(self._scale_words(), FONT))
        busy = [*marks, self.paper(np.asarray(self.plan.rig.origin_m)[:2])]
        flat_blocks = []
        for width, height in ((words + 3.0, 6.0), (6.0, 10.4)):
            corners = [
                (x, y)
                for y in (self.height - height - 1.0, 1.0)
                for x in (1.0, self.width - width - 1.0)
                if not any(_overlap((x, y, x + width, y + height), other) for other in self.taken)
            ]
            middles = [np.array([x + width / 2.0, y + height / 2.0]) for x, y in corners]
            clear = [min(float(np.hypot(*(mark - middle))) for mark in busy) for middle in middles]
            x, y = corners[int(np.argmax(np.minimum(clear, 15.0)))]
            flat_blocks.append((x, y))
            self.taken.append((x, y, x + width, y + height))
        self.scale_at, self.arrow_at = flat_blocks

    def _scale_words(self) -> str:
        return f"{self.metres:g} m" if self.metres >= 1.0 else f"{self.metres * 100:g} cm"

    def furniture(self) -> None:
        """Scale bar, north arrow and border, where room was kept for them."""
        self.canvas.outside()
        length, words = self.metres * self.scale, self._scale_words()
        x, y = self.scale_at[0] + 1.5, self.scale_at[1] + 4.6
        self.canvas.box(*self.scale_at, max(length, text_width(words, FONT)) + 3.0, 6.0, "plate")
        self.canvas.path([(x, y - 1.0), (x, y), (x + length, y), (x + length, y - 1.0)], "scale")
        self.canvas.text(words, x, y - 1.6, FONT, "t")
        x, y = self.arrow_at[0] + 3.0, self.arrow_at[1] + 1.4
        self.canvas.box(*self.arrow_at, 6.0, 10.4, "plate")
        self.canvas.path([(x, y), (x + 1.5, y + 4.5), (x, y + 3.6), (x - 1.5, y + 4.5)], "arrow", closed=True)
        self.canvas.text("N", x, y + 8.0, FONT, "tb", "middle")
        self.canvas.box(0.15, 0.15, self.width - 0.3, self.height - 0.3, "edge")


def _as_line(drawn: Array) -> Array | None:
    """Both ends of an outline on paper that is too thin for its inside to show, (2, 2); else None."""
    middle, half, turn = smallest_rectangle(drawn)
    if 2.0 * float(half.min()) >= THIN_MM or float(half.max()) < THIN_MM:
        return None
    cos, sin = np.cos(turn), np.sin(turn)
    along = np.array([cos, -sin]) if half[0] >= half[1] else np.array([sin, cos])
    return np.array([middle - half.max() * along, middle + half.max() * along])


def _sides(at: Array, width: float, tall: float, clear: float, half: Array) -> Iterator[tuple[float, float]]:
    """Lower left corners for words: within what they name, right of it, left, below, above."""
    if half[0] * 2.0 > width + 1.0 and half[1] * 2.0 > tall + 1.0:
        yield at[0] - width / 2.0, at[1] + tall * 0.35
    across, down = half[0] + clear, half[1] + clear
    yield at[0] + across, at[1] + tall * 0.35
    yield at[0] - across - width, at[1] + tall * 0.35
    yield at[0] - width / 2.0, at[1] + down + tall * 0.8
    yield at[0] - width / 2.0, at[1] - down - tall * 0.1
    yield at[0] + across * 0.7, at[1] + down + tall * 0.6
    yield at[0] - across * 0.7 - width, at[1] - down


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _whole(names: list[str]) -> str:
    """The name that all others go on from, as `mill` that of `mill roof`; the first where there is none."""
    return next((name for name in names if all(other.startswith(name) for other in names)), names[0])


def _short(name: str, most: int = 24) -> str:
    return name if len(name) <= most else name[: most - 1].rstrip() + "…"

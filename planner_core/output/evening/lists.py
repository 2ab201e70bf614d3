"""What an evening of several shots takes along: cards and batteries by camera, and all else added up."""

from __future__ import annotations

from collections.abc import Iterator

from attrs import frozen

from planner_core.evening.shots import Shot
from planner_core.fit.evening import Evening
from planner_core.output.packing import (
    Item,
    battery_count,
    camera_item,
    card_name,
    card_space_gb,
    gear_of_shot,
    has_motors,
)


@frozen(kw_only=True)
class CameraLoad:
    """What one camera takes of the evening: shots by number, frames, gigabytes (None where a plan doesn't say
    how large a picture is), and batteries.
    """

    camera: str
    shots: tuple[int, ...]
    frames: int
    filled_gb: float | None
    batteries: int


def kept_shots(evening: Evening) -> list[Shot]:
    """The shots that have a place in the evening."""
    return [shot for shot in evening.shots if shot.number not in evening.dropped]


def camera_loads(evening: Evening) -> tuple[CameraLoad, ...]:
    """Cards and batteries, a camera each; shots without a camera's name have one of their own."""
    of: dict[str, list[Shot]] = {}
    for shot in kept_shots(evening):
        name = " ".join(shot.plan.camera.name.split()) or f"Camera of shot {shot.number}"
        of.setdefault(name, []).append(shot)
    return tuple(_load(name, shots) for name, shots in of.items())


def _load(name: str, shots: list[Shot]) -> CameraLoad:
    spaces = [card_space_gb(shot.plan) for shot in shots]
    known = [space for space in spaces if space is not None]
    return CameraLoad(
        camera=name,
        shots=tuple(shot.number for shot in shots),
        frames=sum(shot.plan.shoot.frames for shot in shots),
        filled_gb=sum(known) if len(known) == len(spaces) else None,
        batteries=sum(battery_count(shot.plan, shot.frames) for shot in shots),
    )


def things_to_pack(evening: Evening) -> tuple[Item, ...]:
    """Everything once, as often as it is needed at the same time, and for which shots."""
    shots, loads = kept_shots(evening), camera_loads(evening)
    return (
        *_cameras(evening),
        *(_card(load) for load in loads),
        Item(
            name=_count(sum(load.batteries for load in loads), "camera battery", "camera batteries"),
            why=", ".join(f"{load.batteries} for {load.camera}" for load in loads),
        ),
        *_of_rigs(shots),
        Item(name="Tape measure, compass, spirit level", why="every rail by its own sheet"),
        *_torches(evening),
        Item(name="Phone charged, these sheets on paper, a pen", why="paper doesn’t mind the cold"),
    )


def _cameras(evening: Evening) -> Iterator[Item]:
    by_camera = {number: load.camera for load in camera_loads(evening) for number in load.shots}
    for shot in kept_shots(evening):
        item = camera_item(shot.plan)
        yield Item(name=item.name, why=f"{by_camera[shot.number]}, shot {shot.number}: {item.why}")


def _card(load: CameraLoad) -> Item:
    if load.filled_gb is None:
        return Item(
            name="Empty card", why=f"{load.camera}: {load.frames} frames; a plan lacks its pictures’ size"
        )
    return Item(
        name=card_name(load.filled_gb),
        why=f"{load.camera}: {load.frames} frames, {load.filled_gb:.1f} GB, a fifth to spare",
    )


def _of_rigs(shots: list[Shot]) -> Iterator[Item]:
    """Rails, tripods and filters; a rig that several shots share is carried once."""
    seen: dict[tuple[str, str], list[int]] = {}
    whys: dict[tuple[str, str], str] = {}
    for shot in shots:
        rig = " ".join(shot.plan.rig.name.split()) or f"rig of shot {shot.number}"
        items = list(gear_of_shot(shot.plan, shot.frames))
        if has_motors(shot.plan):
            items.append(Item(name="Power for the rig’s motors", why=rig))
        for item in items:
            seen.setdefault((item.name, rig), []).append(shot.number)
            whys.setdefault((item.name, rig), item.why)
    for (name, rig), numbers in seen.items():
        which = f"shot{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"
        why = whys[name, rig]
        yield Item(name=name, why=f"{which}: {rig}" if why == rig else f"{which}, {rig}: {why}")


def _torches(evening: Evening) -> Iterator[Item]:
    people = len(evening.rounds)
    yield Item(
        name=_count(people, "head torch", "head torches") + ", spare batteries",
        why="keep the light out of the other shots’ pictures",
    )


def _count(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"

"""The move as a whole, what the picture is about, and its exposure."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

from collections.abc import Iterator
from typing import Any

import attrs
from bpy.props import EnumProperty

from planner_core import Plan
from planner_core.plan.model import (
    DISC_PLACES,
    DRIVES,
    LIGHT_SIDES,
    METERS,
    RAMP_ORDERS,
    STYLES,
    Composition,
    Exposure,
)

from ...state import live
from .choices import (
    DISC_CHOICES,
    DRIVE_CHOICES,
    LIGHT_CHOICES,
    MAINS_CHOICES,
    MAINS_OPTIONS,
    METER_CHOICES,
    RAMP_CHOICES,
    STYLE_CHOICES,
)
from .fields import (
    NOT_KEYED,
    choice,
    labelled,
    number,
    optional_number,
    optional_part,
    set_value,
    share,
    shutter,
    text,
)


def _find_blocks(owner: Any, _context: Any, typed: str) -> Iterator[str]:
    plan = live.plan_of(owner.id_data)
    return (b.name for b in (plan.blocks if plan else ()) if b.name and typed.lower() in b.name.lower())


def _add_exposure(plan: Plan) -> Plan:
    return attrs.evolve(
        plan, exposure=Exposure(f_number=5.6, shutter_max_s=max(0.5, round(0.5 * plan.shoot.interval_s, 3)))
    )


def _get_mains(owner: Any) -> int:
    plan = live.plan_of(owner.id_data)
    return MAINS_OPTIONS.index(plan.exposure.mains_hz) if plan and plan.exposure else 0


class MoveFields:
    """How the rig is driven."""

    drive: choice("move.drive", "Drive", "How the motors run", DRIVES, DRIVE_CHOICES)
    ease: share(
        "move.ease", "Ease", "Share of the move spent speeding up, and the same again slowing down", high=0.5
    )


class ExposureFields:
    """How the camera follows the light."""

    has_exposure: optional_part(
        "exposure",
        "Exposure",
        "Plan how aperture, shutter and ISO follow the light",
        _add_exposure,
        lambda plan: attrs.evolve(plan, exposure=None),
    )
    f_number: number(
        "exposure.f_number",
        "f/",
        "The f-number, the same for every frame",
        low=0.7,
        high=64.0,
        step=0.1,
        precision=1,
    )
    iso_min: number(
        "exposure.iso_min",
        "Lowest ISO",
        "Lowest ISO to use",
        low=25.0,
        high=102400.0,
        step=100.0,
        precision=0,
    )
    iso_max: number(
        "exposure.iso_max",
        "Highest ISO",
        "Highest ISO with acceptable noise",
        low=25.0,
        high=409600.0,
        step=100.0,
        precision=0,
    )
    shutter_min: shutter(
        "exposure.shutter_min_s", "Fastest Shutter", "Shortest exposure time, for example 1/2000"
    )
    shutter_max: shutter(
        "exposure.shutter_max_s", "Slowest Shutter", "Longest exposure time in seconds, for example 5 or 1/2"
    )
    nd: number(
        "exposure.nd_stops",
        "ND Filter (stops)",
        "Stops that a neutral density filter takes throughout the shoot",
        low=0.0,
        high=15.0,
        step=0.5,
        precision=1,
    )
    grad: number(
        "exposure.grad_stops",
        "Graduated (stops)",
        "Stops that a graduated filter takes off the sky, with its soft edge on the horizon",
        low=0.0,
        high=8.0,
        step=0.5,
        precision=1,
    )
    meter: choice("exposure.meter", "Meter", "What the meter reads", METERS, METER_CHOICES)
    day_look: number(
        "exposure.day_look_stops",
        "Day Look (stops)",
        "How much brighter than metered the day should look, in stops; negative for darker",
        low=-4.0,
        high=4.0,
        step=0.25,
        precision=2,
    )
    night_look: number(
        "exposure.night_look_stops",
        "Night Look (stops)",
        "How the night should look against the meter, in stops; negative for darker",
        low=-4.0,
        high=2.0,
        step=0.25,
        precision=2,
    )
    has_artificial: optional_number(
        "exposure.artificial_ev100",
        2.0,
        "Lamps",
        "Artificial light keeps the place from getting darker than this",
    )
    artificial: number(
        "exposure.artificial_ev100",
        "Lamp Light (EV)",
        "EV at ISO 100 by artificial light alone: about 2 for a distant skyline, 6 to 8 for a street "
        "with lamps",
        low=-6.0,
        high=14.0,
        step=0.5,
        precision=1,
    )
    mains: EnumProperty(
        name=labelled("exposure.mains_hz", "Mains"),
        description="The mains frequency that the lamps here run on, for how they flicker in short exposures",
        items=MAINS_CHOICES,
        get=_get_mains,
        set=set_value("exposure.mains_hz", lambda index: MAINS_OPTIONS[index]),
        options=NOT_KEYED,
    )
    ramp_order: choice(
        "exposure.ramp_order", "After Dark", "Which setting changes first", RAMP_ORDERS, RAMP_CHOICES
    )


class CompositionFields:
    """What the move is for."""

    title: text("title", "Title", "Title of the plan, as shown on the sheet and in the clip")
    reason: text(
        "reason", "Reason", "Why this shot needs a move. Without a reason, a still may be the better shot"
    )
    has_composition: optional_part(
        "composition",
        "Composition",
        "Judge the picture: whether it holds or reveals its subject",
        lambda plan: attrs.evolve(plan, composition=Composition()),
        lambda plan: attrs.evolve(plan, composition=None),
    )
    style: choice("composition.style", "Style", "What the move does for the picture", STYLES, STYLE_CHOICES)
    subject: text(
        "composition.subject",
        "Subject",
        "Block that is the subject. Leave it empty to use every block with the role Subject",
        search=_find_blocks,
        search_options={"SUGGESTION"},
    )
    reveal_by: share(
        "composition.reveal_by", "Revealed By", "Place in the move by which a reveal must show its subject"
    )
    light: choice(
        "composition.light",
        "Light",
        "Where the light should come from, for the search for a shot",
        LIGHT_SIDES,
        LIGHT_CHOICES,
    )
    sun: choice(
        "composition.sun",
        "Sun",
        "Whether the sun should be in the picture, for the search for a shot",
        DISC_PLACES,
        DISC_CHOICES,
    )
    moon: choice(
        "composition.moon",
        "Moon",
        "Whether the moon should be in the picture, for the search for a shot",
        DISC_PLACES,
        DISC_CHOICES,
    )

"""The sidebar's tab: every panel can be drawn in every state of a plan, and shows only what exists.

Blender draws panels in a window alone; here each draws into a stand-in that checks every property,
operator and icon it is asked for.
"""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace
from typing import Any

import attrs
import blf
import bpy
import pytest

from blender_addon.scene import store
from blender_addon.state import live
from blender_addon.ui import panels, wording
from blender_addon.ui.panels import blocking, layout
from planner_core import Plan, PlanError
from planner_core.edit import kit, starter
from planner_core.plan import model
from planner_core.review.findings import Remedy, remedy_text, sentences
from tests.present import present

ICONS = set(bpy.types.UILayout.bl_rna.functions["label"].parameters["icon"].enum_items.keys())


class Layout:
    """Stands in for Blender's layout, and complains of what Blender doesn't know."""

    def __init__(self, asked: list[str]) -> None:
        self.asked = asked

    def _part(self, **_options: Any) -> Layout:
        return Layout(self.asked)

    row = column = box = split = grid_flow = _part

    def separator(self, **_options: Any) -> None:
        pass

    def label(self, *, text: str = "", icon: str = "NONE", **_options: Any) -> None:
        assert icon in ICONS, icon
        self.asked.append(f"label {text}")

    def prop(self, owner: Any, name: str, *, icon: str = "NONE", **_options: Any) -> None:
        assert name in owner.bl_rna.properties, name
        assert icon in ICONS, icon
        getattr(owner, name)
        self.asked.append(f"prop {name}")

    def operator(self, name: str, *, icon: str = "NONE", **_options: Any) -> Any:
        assert icon in ICONS, icon
        kind, called = name.split(".")
        known = getattr(getattr(bpy.ops, kind), called).get_rna_type().properties
        self.asked.append(f"operator {name}")

        class Button:
            def __setattr__(self, key: str, value: Any) -> None:
                assert key in known, f"{name}.{key}"

        return Button()

    def operator_menu_enum(self, name: str, choice: str, *, icon: str = "NONE", **_options: Any) -> Any:
        kind, called = name.split(".")
        assert choice in getattr(getattr(bpy.ops, kind), called).get_rna_type().properties
        assert icon in ICONS, icon
        return self.operator(name)

    def template_list(
        self, kind: str, _key: str, owner: Any, listed: str, chooser: Any, row: str, **_more: Any
    ) -> None:
        shown = without_window(next(cls for cls in panels.CLASSES if cls.__name__ == kind))
        assert row in chooser.bl_rna.properties
        for number, item in enumerate(getattr(owner, listed)):
            shown.draw_item(context(bpy.context.scene), self, owner, item, 0, chooser, row, number, 0)

    def panel(self, name: str, *, default_closed: bool = False) -> tuple[Layout, Layout]:
        assert name.startswith("duskrail_")
        assert isinstance(default_closed, bool)
        return Layout(self.asked), Layout(self.asked)

    def menu(self, name: str, *, icon: str = "NONE", **_options: Any) -> None:
        assert hasattr(bpy.types, name)
        assert icon in ICONS, icon

    def popover(self, name: str = "", *, panel: str = "", icon: str = "NONE", **_options: Any) -> None:
        assert hasattr(bpy.types, name or panel)
        assert icon in ICONS, icon

    def progress(self, **_options: Any) -> None:
        self.asked.append("progress")


def context(scene: Any, width: int = 280) -> Any:
    return SimpleNamespace(
        scene=scene,
        space_data=None,
        region=SimpleNamespace(width=width),
        preferences=SimpleNamespace(
            system=SimpleNamespace(ui_scale=1.0), ui_styles=bpy.context.preferences.ui_styles
        ),
    )


def without_window(cls: type) -> Any:
    """A panel's own methods on a plain object: Blender makes its classes only where it draws them."""
    members: dict[str, Any] = {}
    for base in reversed(cls.__mro__):
        if base.__module__.startswith("blender_addon"):
            members |= {key: value for key, value in vars(base).items() if not key.startswith("__")}
    return type("StandIn", (), members)()


def drawn(scene: Any) -> dict[str, list[str]]:
    """What every panel that shows itself asks for, by its name."""
    found: dict[str, list[str]] = {}
    for cls in panels.CLASSES:
        if not issubclass(cls, bpy.types.Panel):
            continue
        seen = context(scene)
        poll = getattr(cls, "poll", None)
        if poll is not None and not poll(seen):
            continue
        asked: list[str] = []
        stand_in = without_window(cls)
        stand_in.layout = Layout(asked)
        for part in ("draw_header", "draw_header_preset", "draw"):
            if hasattr(cls, part):
                getattr(stand_in, part)(seen)
        found[cls.__name__] = asked
    return found


def plan() -> Plan:
    return starter.starter_plan(starter.PlanDefaults(), dt.date(2027, 3, 14))


def test_without_a_plan_there_are_the_ways_to_begin_and_nothing_else(empty: Any) -> None:
    shown = drawn(empty)
    assert list(shown) == ["DUSKRAIL_PT_plan"]
    operators = [line.split()[1] for line in shown["DUSKRAIL_PT_plan"] if line.startswith("operator")]
    assert operators == [
        "duskrail.first_scene",
        "duskrail.new_scene",
        "duskrail.new_scene",
        "duskrail.start_plan",
        "duskrail.open",
        "wm.url_open",  # the manual
    ]


def test_the_panels_stand_in_the_order_of_the_work(empty: Any) -> None:
    live.set_plan(empty, plan())
    order = [
        cls for cls in panels.CLASSES if issubclass(cls, bpy.types.Panel) and not hasattr(cls, "bl_parent_id")
    ]
    labels = [cls.bl_label for cls in sorted(order, key=lambda cls: cls.bl_order)]
    assert labels == [
        "Plan",
        "Review",
        "Place and Light",
        "Blocking",
        "Rig and Camera",
        "Find the Shot",
        "Move",
        "Exposure",
        "Preview",
        "Shots of the Evening",
        "As Shot",
        "Plan File",
    ]
    assert {cls.bl_category for cls in order} == {"Duskrail"}
    assert {cls.__name__ for cls in order} <= set(drawn(empty))


def variants() -> dict[str, Plan]:
    full = plan()
    rigs = {
        "whole": full,
        "no exposure": attrs.evolve(full, exposure=None),
        "no composition": attrs.evolve(full, composition=None),
        "reveal": attrs.evolve(full, composition=attrs.evolve(present(full.composition), style="reveal")),
        "no blocks": attrs.evolve(full, blocks=(), composition=None),
    }
    from planner_core.edit import edits

    rigs["start time"] = edits.with_start(full)
    still = full
    for axis in edits.AXES:
        still = edits.without_axis(still, axis)
        rigs[f"without {axis}"] = edits.without_axis(full, axis)
    rigs["still"] = still
    return rigs


@pytest.mark.parametrize("name", sorted(variants()))
def test_every_panel_draws_for_every_kind_of_plan(empty: Any, name: str) -> None:
    wanted = variants()[name]
    live.set_plan(empty, wanted)
    live.review_now(empty)
    settings = empty.duskrail
    for row in range(-1, len(settings.blocks)):
        live.choose_block(empty, row)
        shown = drawn(empty)
    asked = [line for lines in shown.values() for line in lines]
    assert ("prop start" in asked) == (wanted.shoot.start is not None)
    assert ("prop f_number" in asked) == (wanted.exposure is not None)
    assert ("prop slide_min" in asked) == (wanted.rig.slide is not None)
    assert ("prop pan_speed" in asked) == (wanted.rig.pan is not None)
    assert ("prop reveal_by" in asked) == (name == "reveal")


def test_a_refused_value_is_told_and_can_be_put_away(empty: Any) -> None:
    live.set_plan(empty, plan())
    empty.duskrail.latitude = 89.9  # in March the sun is below the horizon there all day
    text = " ".join(line for line in drawn(empty)["DUSKRAIL_PT_plan"] if line.startswith("label"))
    assert "Place and Light" in text.replace("label ", "")
    assert "shoot.anchor" not in text  # the panel's words, not the file's
    assert live.plan_of(empty) == plan()
    bpy.ops.duskrail.dismiss()
    assert "shoot.anchor" not in " ".join(drawn(empty)["DUSKRAIL_PT_plan"])


def test_a_plan_that_cannot_be_read_is_told_with_two_ways_out(empty: Any) -> None:
    empty[store.PLAN_KEY] = '{"format": "duskrail-plan", "version": 99}'
    shown = drawn(empty)
    assert list(shown) == ["DUSKRAIL_PT_plan"]
    assert "newer than this tool knows" in " ".join(shown["DUSKRAIL_PT_plan"]).replace(" label", "")
    operators = [line.split()[1] for line in shown["DUSKRAIL_PT_plan"] if line.startswith("operator")]
    assert operators == ["duskrail.open", "duskrail.remove_plan"]


def test_findings_come_with_their_frames_their_fix_and_their_fit(empty: Any) -> None:
    full = plan()
    assert full.shoot.anchor is not None
    anchor = attrs.evolve(full.shoot.anchor, at=0.1)
    live.set_plan(empty, attrs.evolve(full, shoot=attrs.evolve(full.shoot, anchor=anchor)))
    report = live.review_now(empty)
    assert report is not None
    assert any(found.fit == "balance" for found in report.findings)
    asked = drawn(empty)["DUSKRAIL_PT_review"]
    assert asked.count("operator duskrail.finding_go") == 2 * len(report.findings)  # its line, and its frames
    assert "operator duskrail.apply_fit" in asked
    said = " ".join(line.removeprefix("label ") for line in asked).replace("\N{NO-BREAK SPACE}", " ")
    for found in report.findings:
        assert all(word in said for word in sentences(found, wording.SIDEBAR).fix.split())


def test_long_words_are_wrapped_to_the_sidebar(empty: Any) -> None:
    asked: list[str] = []
    text = "Frames 1–180: the sun is in the picture, up to 4.5° high; it sets at frame 181 (16:50)."
    layout.wrapped(Layout(asked), context(empty, width=200), text)
    lines = [line.removeprefix("label ") for line in asked]
    assert " ".join(lines).replace("\N{NO-BREAK SPACE}", " ") == text
    assert len(lines) > 2


@pytest.mark.parametrize("width", [240, 270, 300])
@pytest.mark.parametrize("scale", [1.0, 1.5])
def test_a_line_is_as_full_as_the_sidebar_is_wide(width: int, scale: float) -> None:
    text = "Frame 214: the beacon is cut by the left edge; it stays in the picture until the last frame. " * 3
    room, type_px = width * scale, 11.0 * scale
    lines = layout.lines_of(text.strip(), room, type_px)
    firsts = [line.split(" ")[0] for line in lines]
    blf.size(layout.TYPE, type_px)
    for line, first in zip(lines, [*firsts[1:], "word" * 20], strict=True):
        assert blf.dimensions(layout.TYPE, line)[0] <= room
        assert blf.dimensions(layout.TYPE, f"{line} {first}")[0] > room  # no word more has room in it


@pytest.mark.parametrize("width", [240, 300])
def test_a_field_with_buttons_has_room_for_its_value(empty: Any, width: int) -> None:
    live.set_plan(empty, plan())
    asked: list[str] = []
    layout.field(Layout(asked), context(empty, width=width), "date")
    assert [line for line in asked if "date" in line or "Date" in line]
    assert ("label Date" in asked) == (width == 240)  # its name takes less, then


def test_a_word_wider_than_the_sidebar_has_a_line_of_its_own() -> None:
    lines = layout.lines_of("a Straßenbahnhaltestellenhäuschen b", 60.0, 11.0)
    assert lines == ("a", "Straßenbahnhaltestellenhäuschen", "b")


def test_a_line_never_ends_between_a_number_and_its_unit(empty: Any) -> None:
    text = "Travel about 0.4 m instead of 1.2 m, turn by 12°, or take 300 frames: 12.5 s, at 50 %."
    for width in range(150, 400, 10):
        asked: list[str] = []
        layout.wrapped(Layout(asked), context(empty, width=width), text)
        lines = [line.removeprefix("label ") for line in asked]
        assert " ".join(lines).replace("\N{NO-BREAK SPACE}", " ") == text
        assert not any(line.split()[0].rstrip(".,") in layout.UNITS for line in lines)


def test_what_is_amiss_in_the_scene_is_told_with_its_remedy(empty: Any) -> None:
    live.set_plan(empty, plan())
    empty.unit_settings.scale_length = 0.01
    bpy.data.objects.remove(empty.camera)
    shown = drawn(empty)["DUSKRAIL_PT_plan"]
    text = " ".join(line.removeprefix("label ") for line in shown)
    assert "unit scale is 0.01" in text
    assert "Deleted from the scene: the camera." in text
    bpy.ops.duskrail.set_units()
    bpy.ops.duskrail.redraw()
    text = " ".join(line.removeprefix("label ") for line in drawn(empty)["DUSKRAIL_PT_plan"])
    assert "unit scale" not in text
    assert "Deleted" not in text
    assert empty.camera is not None


def test_every_piece_of_the_kit_has_a_button_and_an_icon(empty: Any) -> None:
    live.set_plan(empty, plan())
    assert set(blocking.PIECE_ICONS) == set(kit.PIECES)
    asked = drawn(empty)["DUSKRAIL_PT_blocking"]
    assert asked.count("operator duskrail.add_block") == len(kit.PIECES)


@pytest.mark.parametrize(
    ("path", "shown"),
    [
        ("site.latitude_deg", "Place and Light, Latitude: 431 is no good"),
        ("rig.slide.max_m", "Rig and Camera, Slider, To: 431 is no good"),
        ("blocks[0].size_m[2]", "Blocking, “{block}”, Size: 431 is no good"),
        ("move.poses[1].pan_deg", "Move, pose 2, Pan: 431 is no good"),
        ("shoot.anchor", "Place and Light: 431 is no good"),
        ("balance", "balance: 431 is no good"),
    ],
)
def test_refusals_name_a_field_as_the_panels_do(empty: Any, path: str, shown: str) -> None:
    said = wording.refusal_text(PlanError(path, 431, "is no good"), plan())
    assert said == shown.replace("{block}", plan().blocks[0].name)


PARTS_OF_A_PLAN = {
    "site": model.Site,
    "camera": model.Camera,
    "clip": model.Clip,
    "rig": model.Rig,
    "rig.slide": model.SlideAxis,
    "rig.pan": model.TurnAxis,
    "rig.tilt": model.TurnAxis,
    "move": model.Move,
    "move.poses[#]": model.Pose,
    "shoot": model.Shoot,
    "shoot.anchor": model.Anchor,
    "exposure": model.Exposure,
    "composition": model.Composition,
    "blocks[#]": model.Block,
}
# shown as a list or in the scene itself, or set in the plan file only
WITHOUT_A_NAME = {
    "move.poses",
    "shoot.anchor",
    "blocks[#].name",
    "blocks[#].shape",
    "blocks[#].footprint_m",
    "blocks[#].skyline_deg",
    "blocks[#].lights",
    "blocks[#].heights_m",
    "blocks[#].roof",
    "blocks[#].roof_height_m",
    "blocks[#].roof_turn_deg",
}


def test_every_field_of_the_plan_has_a_name_for_messages() -> None:
    fields = {
        f"{part}.{field.name}" for part, kind in PARTS_OF_A_PLAN.items() for field in attrs.fields(kind)
    }
    assert fields - set(wording.labels) <= WITHOUT_A_NAME
    named = {path for path in wording.labels if "." in path}
    assert named <= fields
    assert all(wording.labels.values())


@pytest.mark.parametrize(
    ("path", "value", "shown"),
    [
        ("shoot.interval_s", 13.0, "Set “Interval” to 13 s."),
        ("shoot.anchor.at", 0.5, "Set “Falls At” to 50 %."),
        ("exposure.shutter_max_s", 4.0, "Set “Slowest Shutter” to 4 s."),
        ("exposure.meter", "picture", "Set “Meter” to “Picture”."),
    ],
)
def test_remedies_name_fields_as_the_panels_do(path: str, value: float | str, shown: str) -> None:
    assert remedy_text(Remedy(changes={path: value}), wording.SIDEBAR) == shown

"""A walk through the add-on in a real Blender window, as somebody new to it would go.

Run by Blender (`blender --enable-event-simulate --python gui_walk.py`), which test_gui_walk.py starts. It
moves the mouse, clicks and types; it finds what to click by its words, looking for them on the screen, as a
person does. OUT names the folder for its pictures, DUSKRAIL_EXTENSION the extension's archive,
DUSKRAIL_WALK which of the walks at the end. What it saw is written to OUT/told.json; it ends with 0 if all
was as it should be.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import blf
import bpy
import imbuf
import numpy as np

OUT = Path(os.environ["OUT"])
ARCHIVE = os.environ["DUSKRAIL_EXTENSION"]
MODULE = "bl_ext.user_default.duskrail"
LETTER_SIZES = (11.0, 11.5)
SURE = 0.62  # how well words have to match what is on the screen
TURN = 1
TRIES = 3
SURE_OF_TABS = 0.5  # letters turned on their side are drawn a little differently
ROW_PX = 20.0
DIAL_PX = 55.0  # radius of a handle's ring, beside the rig seen from nearby
PRESETS_SHARE = 0.76  # of the sidebar's width, where a header's list of presets opens
TRIANGLE_PX = 29.0  # from the sidebar's edge, before a finding's line
DRAWN_S = 0.7  # for Blender to draw what was clicked; drawing is in software on machines without a screen

told: dict[str, Any] = {"steps": []}
done: dict[str, list[str]] = {"clicks": [], "fields": [], "keys": []}  # what the hands did
EXAMPLES = Path(__file__).resolve().parents[2] / "example_scenes"
Wait = Iterator[float]


# ---------------------------------------------------------------- eyes


def window() -> Any:
    return bpy.context.window_manager.windows[0]


def region(kind: str, area: str = "VIEW_3D") -> Any:
    found = next(a for a in window().screen.areas if a.type == area)
    return next(r for r in found.regions if r.type == kind)


def picture(name: str) -> np.ndarray:
    """The screen as grey levels, row 0 at the bottom, kept as a file too."""
    path = str(OUT / f"{name}.png")
    with bpy.context.temp_override(window=window()):
        bpy.ops.screen.screenshot(filepath=path)
    seen = _pixels(path)[:, :, :3].mean(axis=2)
    if float(np.ptp(seen)) == 0.0 and shutil.which("import"):  # software drawing leaves Blender's own black
        subprocess.run(["import", "-window", "root", path], check=True)
        seen = _pixels(path)[:, :, :3].mean(axis=2)
    return seen


def _pixels(path: str) -> np.ndarray:
    image: Any = bpy.data.images.load(path)
    values = np.empty(len(image.pixels), np.float32)
    image.pixels.foreach_get(values)
    width, height = image.size
    bpy.data.images.remove(image)
    return values.reshape(height, width, -1)


def letters(words: str, size: float) -> np.ndarray:
    """Words in Blender's own letters."""
    blf.size(0, size)
    width, _ = blf.dimensions(0, words)
    paper = imbuf.new((int(width) + 6, int(2 * size)))
    with blf.bind_imbuf(0, paper):
        blf.position(0, 3, size / 2, 0)
        blf.color(0, 1, 1, 1, 1)
        blf.draw_buffer(0, words)
    path = str(OUT / "letters.png")
    imbuf.write(paper, filepath=path)
    values = _pixels(path)[:, :, 0]
    rows, columns = np.nonzero(values > 0.1)
    return values[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]


def likeness(screen: np.ndarray, shape: np.ndarray) -> np.ndarray:
    """Normalised cross-correlation of a shape with every place of the screen."""
    shape = shape - shape.mean()
    height, width = shape.shape
    spectrum = np.fft.rfft2(screen) * np.fft.rfft2(shape[::-1, ::-1], screen.shape)
    matched = np.fft.irfft2(spectrum, screen.shape)[height - 1 :, width - 1 :]
    count = height * width

    def sums(values: np.ndarray) -> np.ndarray:
        total = np.pad(np.cumsum(np.cumsum(values.astype(np.float64), 0), 1), ((1, 0), (1, 0)))
        return (
            total[height:, width:]
            - total[:-height, width:]
            - total[height:, :-width]
            + total[:-height, :-width]
        )

    spread = np.maximum(sums(screen**2) - sums(screen) ** 2 / count, 1e-9)
    result = np.abs(matched) / np.sqrt(spread * float((shape**2).sum()))
    return np.where(spread / count > 2e-4, result, 0.0)


def look_for(words: str, where: Any = None, *, upright: bool = False) -> tuple[float, float, float]:
    """Where words stand in a region (or anywhere), and how sure that is."""
    screen = picture("looking")
    left, bottom = 0, 0
    if where is not None:
        left, bottom = where.x, where.y
        screen = screen[bottom : bottom + where.height, left : left + where.width]
    best = (0.0, 0.0, 0.0)
    for size in LETTER_SIZES:
        shape = letters(words, size)
        shape = (
            np.rot90(shape, TURN) if upright else shape
        )  # tabs are written from top to bottom; row 0 is below
        if shape.shape[0] >= screen.shape[0] or shape.shape[1] >= screen.shape[1]:
            continue
        found = likeness(screen, shape)
        row, column = (int(place) for place in np.unravel_index(int(np.argmax(found)), found.shape))
        if found[row, column] > best[2]:
            best = (
                left + column + shape.shape[1] / 2,
                bottom + row + shape.shape[0] / 2,
                float(found[row, column]),
            )
    return best


# ---------------------------------------------------------------- hands


def event(kind: str, value: str, x: float, y: float, **more: Any) -> None:
    window().event_simulate(type=kind, value=value, x=int(x), y=int(y), **more)


at_mouse = [0.0, 0.0]
spot: list[float] = [0.0, 0.0]  # where the words were that were looked for last


def move(x: float, y: float) -> None:
    at_mouse[:] = [x, y]
    event("MOUSEMOVE", "NOTHING", x, y)


def press(kind: str, x: float, y: float, **more: Any) -> None:
    event(kind, "PRESS", x, y, **more)
    event(kind, "RELEASE", x, y, **more)


def click_at(x: float, y: float, button: str = "LEFTMOUSE", **more: Any) -> Wait:
    move(x - 3, y)
    yield 0.1
    move(x, y)
    yield 0.2
    event(button, "PRESS", x, y, **more)
    yield 0.1
    event(button, "RELEASE", x, y, **more)
    yield DRAWN_S


def type_text(text: str, x: float, y: float) -> Wait:
    names = {".": "PERIOD", "-": "MINUS", "/": "SLASH", " ": "SPACE"}
    digits = dict(
        zip(
            "0123456789",
            ("ZERO", "ONE", "TWO", "THREE", "FOUR", "FIVE", "SIX", "SEVEN", "EIGHT", "NINE"),
            strict=True,
        )
    )
    for letter in text:
        kind = names.get(letter) or digits.get(letter) or letter.upper()
        event(kind, "PRESS", x, y, unicode=letter)
        event(kind, "RELEASE", x, y)
        yield 0.05


def seek(words: str) -> Iterator[Any]:
    """Scroll the sidebar until words are in it; leaves where they are in `spot`."""
    side = region("UI")
    middle = (side.x + 5, side.y + side.height / 2)  # beside the lists, which would scroll instead
    yield from settled()
    for turn in range(40):
        _, y, sure = look_for(words, side)
        if sure >= SURE and side.y + 30 < y:
            yield DRAWN_S  # what stands above may still grow, as findings come in
            again = look_for(words, side)
            if again[2] >= SURE and abs(again[1] - y) < 3.0:
                spot[:] = again[:2]
                return
            continue
        up = turn >= 20  # down first; then from below up again
        move(*middle)
        yield 0.1
        for _ in range(8 if up else 4):
            event("WHEELUPMOUSE" if up else "WHEELDOWNMOUSE", "PRESS", *middle)
        yield DRAWN_S
    picture(f"lost {words}")
    raise AssertionError(f"“{words}” is nowhere in the sidebar (best {sure:.2f})")


def settled() -> Wait:
    """Wait for a review that is under way: its findings push down all that stands below them."""
    for _ in range(80):
        if plan() is None or live().frames_of(window().scene) is None or live().is_reviewed(window().scene):
            return
        yield 0.25


def click(words: str) -> Wait:
    """Click what is called so in the sidebar."""
    yield from seek(words)
    done["clicks"].append(words)
    yield from click_at(spot[0], spot[1])


def unfold(header: str, inside: str) -> Wait:
    """Open a folded panel near the sidebar's end by its header, where what is inside isn't to be seen."""
    yield from settled()
    yield from scroll("WHEELDOWNMOUSE")  # above it a sentence may have the same word
    x, y, sure = look_for(header, region("UI"))
    assert sure >= SURE, f"“{header}” is not at the sidebar's end (best {sure:.2f})"
    done["clicks"].append(header)
    yield from click_at(x, y)
    yield from seek(inside)


def unfold_finding(finding: Any) -> Wait:
    """Open a finding by the triangle before its line; a grave one is open already."""
    yield from seek(titles()(finding))
    if finding.level != "stop":
        yield from click_at(region("UI").x + TRIANGLE_PX, spot[1])


def titles() -> Any:
    """What the sidebar calls a finding."""
    return sys.modules[f"{MODULE}.ui.wording"].title


def fill_in(
    words: str,
    value: str,
    until: Callable[[], bool] | None = None,
    beside_px: float = 120.0,
    where: Any = None,
    rows_below: int = 0,
) -> Wait:
    """Type a value into the field to the right of its name, or so many rows below that.

    With `until`, again where the window was too slow for the keys; and that must be so in the end.
    """
    done["fields"].append(words)
    for _ in range(TRIES):
        if where is None:
            yield from seek(words)
            x, y = spot
        else:
            x, y, sure = look_for(words)
            assert sure >= SURE, words
        x, y = x + beside_px, y - rows_below * ROW_PX
        move(x, y)
        yield 0.2
        for _ in range(2):
            press("LEFTMOUSE", x, y)
        yield 2 * DRAWN_S
        press("A", x, y, ctrl=True)
        yield from type_text(value, x, y)
        press("RET", x, y)
        yield DRAWN_S
        if until is None or until():
            return
        yield 2 * DRAWN_S
        if until():
            return
        press("ESC", x, y)
        yield DRAWN_S
    assert until is not None
    picture(f"not taken {words}")
    raise AssertionError(f"“{words}” doesn't take {value}: {plan()}")


def in_view(x_share: float, y_share: float) -> tuple[float, float]:
    view = region("WINDOW")
    return view.x + x_share * view.width, view.y + y_share * view.height


def key(kind: str, **more: Any) -> Wait:
    """Press a key over the 3D view."""
    done["keys"].append(kind)
    x, y = in_view(0.4, 0.5)
    move(x, y)
    yield 0.2
    press(kind, x, y, **more)
    yield DRAWN_S


# ---------------------------------------------------------------- the walk


def live() -> Any:
    return sys.modules[f"{MODULE}.state.live"]


def plan() -> Any:
    return live().plan_of(window().scene)


def step(name: str, **facts: Any) -> Wait:
    """A picture, and what is noted of this step."""
    yield DRAWN_S
    picture(f"{len(told['steps']) + 1:02d} {name}")
    told["steps"].append({"name": name, **facts})


def arrive(button: str) -> Wait:
    """Install the extension, open the tab, begin with one of its buttons.

    Installing is what Install from Disk in the preferences calls, without its file browser.
    """
    os.chdir(OUT)
    bpy.context.preferences.view.filebrowser_display_type = "SCREEN"
    yield DRAWN_S
    bpy.ops.extensions.package_install_files(filepath=ARCHIVE, repo="user_default", enable_on_install=True)
    assert MODULE in bpy.context.preferences.addons
    yield DRAWN_S
    for _ in range(5):  # the first keys of a new window may go astray
        if region("UI").width > 1:
            break
        yield from key("N")
    yield DRAWN_S
    x, y, sure = look_for("Duskrail", region("UI"), upright=True)
    assert sure >= SURE_OF_TABS, f"no tab called Duskrail (best {sure:.2f})"
    done["clicks"].append("Duskrail")
    yield from click_at(x, y)
    yield from step("extension installed, tab chosen")
    if button:
        yield from click(button)
        assert plan() is not None
        yield from reviewed()
        yield from step(button.lower(), blocks=len(plan().blocks), title=plan().title)


def reviewed() -> Wait:
    """Wait for the review of the plan as it is now."""
    for _ in range(60):
        if live().is_reviewed(window().scene):
            break
        yield 0.25
    assert live().is_reviewed(window().scene), "the review is behind the plan"


def confirm() -> Wait:
    """Enter, in the dialog that has opened under the mouse."""
    done["keys"].append("RET")
    press("RET", *at_mouse)
    yield DRAWN_S


def look_at_place() -> Wait:
    """The button left of Rig and Picture; its word stands elsewhere too."""
    yield from to_top()
    yield from seek("Picture")
    yield from click_at(spot[0] - 0.58 * region("UI").width, spot[1])


def to_top() -> Wait:
    """Scroll the sidebar up."""
    yield from scroll("WHEELUPMOUSE")


def scroll(wheel: str) -> Wait:
    """Scroll the sidebar to one of its ends."""
    side = region("UI")
    middle = (side.x + 5, side.y + side.height / 2)  # beside the lists, which would scroll instead
    move(*middle)
    yield 0.1
    for _ in range(4):  # a slow window leaves some of many events at once aside
        for _ in range(30):
            event(wheel, "PRESS", *middle)
        yield DRAWN_S


# ---------------------------------------------------------------- from an empty file to a preview


def newcomer() -> Wait:
    """The whole way: blocks, rig, poses, sunset, findings, a fix, the plan file, a preview."""
    yield from arrive("New Empty Scene")
    yield from blocks()
    yield from rig_and_poses()
    yield from evening()
    yield from findings()
    yield from file_and_preview()


def blocks() -> Wait:
    """Four by bearing and distance, as read off a map, two with a click into the view."""
    for label, fields in (
        ("Tower", {"Bearing": "262", "Distance": "160"}),
        ("Box", {"Bearing": "250", "Distance": "140"}),
        ("Water", {"Bearing": "258"}),
        ("Wall", {"Bearing": "262"}),
    ):
        yield from click_for(label, f"Add {label}")
        for name, value in fields.items():
            yield from fill_in(name, value, where=True)
        if label == "Tower":
            yield from step("dialog of a tower")
        yield from confirm()
        assert plan().blocks[-1].name == label.lower(), plan().blocks
    yield from to_top()
    yield from click("Rig")
    yield from click("3D cursor")
    for label, place in (("Figure", (0.30, 0.20)), ("Post", (0.62, 0.22))):
        yield from click_at(*in_view(*place), "RIGHTMOUSE", shift=True)
        yield from click(label)
    names = [block.name for block in plan().blocks]
    assert names == ["tower", "box", "water", "wall", "figure", "post"], names
    yield from step("six blocks added", names=names)
    yield from look_at_place()
    yield from step("the place from above")


def click_for(words: str, dialog: str) -> Wait:
    """Click until the dialog of that title is there."""
    for _ in range(TRIES):
        yield from click(words)
        yield DRAWN_S
        if look_for(dialog)[2] >= SURE:
            return
    picture(f"no dialog {dialog}")
    raise AssertionError(f"no dialog is called “{dialog}”")


def rig_and_poses() -> Wait:
    yield from to_top()
    yield from click("Rig")
    yield from click_at(*in_view(0.45, 0.25), "RIGHTMOUSE", shift=True)
    old = plan()
    yield from click("Rail to 3D Cursor")
    assert plan().rig.origin_m != old.rig.origin_m
    assert abs(plan().move.poses[0].pan_deg - 262.0) < 10.0, plan().move.poses
    yield from to_top()
    yield from click("Rig")
    yield from step("rig placed", origin_m=plan().rig.origin_m)
    yield from to_top()
    yield from click("Picture")
    yield from step("through the camera")
    yield from pose_value(0, "slide_m", "0.3", rows_below=1)
    yield from pose_value(0, "tilt_deg", "3", rows_below=3)
    yield from step("first pose set", poses=_told_poses())
    yield from click("100 %")
    yield from pose_value(1, "slide_m", "0.9", rows_below=1)
    yield from pose_value(1, "tilt_deg", "3", rows_below=3)
    yield from step("second pose set", poses=_told_poses())


def pose_value(row: int, name: str, value: str, rows_below: int) -> Wait:
    """Type one of the values under the chosen pose's place."""

    def taken() -> bool:
        return bool(getattr(plan().move.poses[row], name) == float(value))

    yield from fill_in(f"Pose {row + 1} at", value, taken, beside_px=90.0, rows_below=rows_below)


def _told_poses() -> list[list[Any]]:
    return [[pose.at, pose.slide_m, pose.pan_deg, pose.tilt_deg] for pose in plan().move.poses]


def evening() -> Wait:
    """Sunset early in the move, as somebody who doesn't know better yet; then what the night is like."""
    yield from to_top()
    yield from fill_in("Falls At", "15", lambda: bool(plan().shoot.anchor.at == 0.15))
    assert plan().shoot.anchor.event == "sunset"
    yield from reviewed()
    yield from step("sunset early in the move")
    timeline = region("WINDOW", "DOPESHEET_EDITOR")
    yield from click_at(timeline.x + 0.85 * timeline.width, timeline.y + timeline.height - 8)
    assert window().scene.frame_current > 100, window().scene.frame_current
    yield 2 * DRAWN_S  # windows and lamps follow a moment later
    yield from step("scrubbed into the night", frame=window().scene.frame_current)


def findings() -> Wait:
    """Go to what a finding is about, then have one mended, take that back, and bring it again."""
    scene = window().scene
    yield from reviewed()
    report = live().state_of(scene).review
    told["findings"] = [[found.level, found.code, found.message] for found in report.findings]
    assert any(found.code == "day-night-balance" for found in report.findings)
    yield from seek("Weakest Frame")
    yield from step("findings")
    about = [found for found in report.findings if found.frames and found.blocks]
    if about:
        found = about[0]
        yield from click(titles()(found))
        assert found.frames[0] <= scene.frame_current <= found.frames[1], scene.frame_current
        selected = {thing.name for thing in bpy.context.view_layer.objects.selected}
        assert set(found.blocks) <= selected, (found.blocks, selected)
        yield from step("a finding clicked", code=found.code, frame=scene.frame_current, selected=selected)
    yield from to_top()
    yield from unfold_finding(next(found for found in report.findings if found.code == "day-night-balance"))
    yield from click("Fit the Start")
    assert plan().shoot.anchor.at == 0.5, plan().shoot.anchor
    yield from reviewed()
    yield from step("one fix applied", at=plan().shoot.anchor.at)
    yield from key("Z", ctrl=True)
    assert abs(plan().shoot.anchor.at - 0.15) < 1e-6, "undo didn't take the fix back"
    yield from key("Z", ctrl=True, shift=True)
    assert plan().shoot.anchor.at == 0.5, "redo didn't bring the fix again"
    yield from reviewed()
    yield from step("undone and redone")


def file_and_preview() -> Wait:
    yield from unfold("Plan File", "Save As…")
    yield from click("Save As…")
    yield from step("file browser")
    x, y = 800, 450
    move(x, y)
    press("RET", x, y)
    yield 2 * DRAWN_S
    saved = Path(window().scene.duskrail.file)
    assert saved.is_file(), "no plan file was saved"
    shutil.move(saved, OUT / saved.name)  # out of the folder that the browser opened with
    window().scene.duskrail.file = str(OUT / saved.name)
    told["plan_file"] = str(OUT / saved.name)
    yield from step("plan saved", file=saved.name)
    yield from unfold("Preview", "Every Nth Frame")
    yield from fill_in("Every Nth Frame", "100", lambda: bool(window().scene.duskrail.every == 100))
    yield from click("Render Preview")
    jobs = sys.modules[f"{MODULE}.ui.operators.preview"]
    assert jobs.current() is not None
    yield from step("preview under way")
    for _ in range(600):
        if not jobs.running():
            break
        yield 0.5
    yield DRAWN_S
    job = jobs.current()
    assert job.result, job.problem
    clip = bpy.data.movieclips.load(str(job.result.output))
    told["clip_frames"], told["clip_size"] = clip.frame_duration, list(clip.size)
    told["clip_file"] = str(job.result.output)
    bpy.data.movieclips.remove(clip)
    assert told["clip_frames"] == 4, told["clip_frames"]
    records = sys.modules[f"{MODULE}.ui.job_records"]
    yield from step("preview done", clip=records.plain(job.result))


# ---------------------------------------------------------------- the first still


def first_still() -> Wait:
    """First Scene with a place of one's own, then stills: each click, key and field is counted."""
    yield from arrive("")
    began = time.monotonic()
    yield from click_for("First Scene…", "Make the Scene")
    yield from step("dialog of the first scene")
    for name, value in (
        ("Latitude", "43.46"),
        ("Longitude", "-3.79"),
        ("Date", "2027-03-14"),
        ("Bearing", "262"),
        ("Distance", "160"),
    ):
        yield from fill_in(name, value, where=True)
    yield from fill_in("Distance", "20", where=True, rows_below=1)  # Height, as it ends “Rail Height” too
    done["fields"][-1] = "Height"
    yield from step("filled in")
    yield from confirm()
    yield from reviewed()
    assert plan().site.latitude_deg == 43.46, plan().site
    assert plan().site.timezone == "Europe/Madrid", plan().site  # by the place
    assert plan().shoot.anchor.date.isoformat() == "2027-03-14", plan().shoot
    subject = next(b for b in plan().blocks if b.role == "subject")
    assert subject.size_m[2] == 20.0, subject
    yield from step("the first picture")
    yield from unfold("Preview", "Stills Side by Side")
    yield from click("Stills Side by Side")
    told["actions"] = done
    told["asked_after_s"] = time.monotonic() - began
    jobs = sys.modules[f"{MODULE}.ui.operators.preview"]
    for _ in range(1200):
        if not jobs.running():
            break
        yield 0.1
    job = jobs.current()
    assert job.result, job.problem
    told["still_after_s"] = time.monotonic() - began
    told["still"] = str(job.result.output)
    yield 4 * DRAWN_S
    told["windows"] = [[a.type for a in w.screen.areas] for w in bpy.context.window_manager.windows]
    yield from step("stills side by side")


# ---------------------------------------------------------------- advice, and the night


def advice() -> Wait:
    """Fit All on an evening full of mistakes, one step of undo; then a night with its Milky Way."""
    yield from arrive("New Empty Scene")
    opened(EXAMPLES / "classic_mistakes.plan.json")
    yield from reviewed()
    yield from to_top()
    before = plan()
    yield from step("classic mistakes")
    yield from click("Fit All")
    yield 2 * DRAWN_S
    yield from step("fit all under way")
    fits = sys.modules[f"{MODULE}.ui.operators.review"]
    for _ in range(2400):
        if not fits._under_way:
            break
        yield 0.25
    assert plan() != before, "nothing was fitted"
    yield from reviewed()
    told["fit_said"] = list(live().state_of(window().scene).fit_said)
    report = live().state_of(window().scene).review
    told["after_fit"] = [[found.level, found.code] for found in report.findings]
    yield from to_top()
    yield from step("fit all done")
    for turn in range(3):
        yield from wheel_down()
        yield from step(f"fit all done, further down {turn + 1}")
    yield from key("Z", ctrl=True)
    assert plan() == before, "one step of undo doesn't take Fit All back"
    yield from to_top()
    yield from reviewed()
    yield from step("fit all undone")
    yield from the_night()


def manners() -> Wait:
    """Blender's own ways to it: workspace, popover, search, manual, other units, a player for the clip."""
    yield from arrive("New Example Scene")
    scene = window().scene
    yield from click("Picture")
    for name in ("thirds", "sensor", "subject", "ways", "limits"):
        setattr(scene.duskrail, f"show_{name}", True)
    with bpy.context.temp_override(window=window()):
        scene.frame_set(120)
    yield from step("everything in the picture")
    view3d = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    move(*in_view(0.5, 0.6))
    yield DRAWN_S
    with bpy.context.temp_override(window=window(), area=view3d, region=region("WINDOW")):
        bpy.ops.wm.call_panel(name="VIEW3D_PT_overlay", keep_open=True)
    yield 2 * DRAWN_S
    yield from step("the overlays popover")
    yield from key("ESC")
    yield from searched("fit all")
    yield from the_manual()
    scene.unit_settings.system = "IMPERIAL"
    touched("units")
    yield from to_top()
    yield from seek("Focal Length")
    yield from step("imperial units")
    scene.unit_settings.system = "METRIC"
    touched("units")
    yield from played()
    window().workspace = bpy.data.workspaces["Animation"]
    yield 4 * DRAWN_S
    yield from step("the animation workspace")


def searched(words: str) -> Wait:
    """Blender's own search finds buttons of the add-on by their names."""
    yield from key("F3")
    yield from type_text(words, *at_mouse)
    yield 2 * DRAWN_S
    yield from step("what the search finds")
    yield from key("ESC")
    yield from key("ESC")


def the_manual() -> Wait:
    """Online Manual opens the page that the extension carries, at the part of the field it is asked of."""
    import webbrowser

    asked: list[str] = []
    real, webbrowser.open = webbrowser.open, lambda url, *_more: bool(asked.append(url)) or True
    try:
        with bpy.context.temp_override(window=window()):
            bpy.ops.wm.doc_view_manual(doc_id="duskrail.preview")
            bpy.ops.wm.doc_view_manual(doc_id="DUSKRAIL_PG_settings.latitude")
    finally:
        webbrowser.open = real
    told["manual"] = asked
    page = Path(asked[0].partition("#")[0].removeprefix("file://"))
    assert 'id="preview"' in page.read_text("utf-8"), asked
    assert [url.partition("#")[2] for url in asked] == ["preview", "place"], asked
    yield DRAWN_S


def played() -> Wait:
    """Show the Clip hands the file to the system's player."""
    scene = window().scene
    clip, said = OUT / "shown.mp4", OUT / "player.txt"
    clip.write_bytes(b"a clip")
    player = OUT / "bin" / "xdg-open"
    player.parent.mkdir()
    player.write_text(f'#!/bin/sh\necho "$1" > {said}\n', encoding="utf-8")
    player.chmod(0o755)
    os.environ["PATH"] = f"{player.parent}{os.pathsep}{os.environ['PATH']}"
    scene.duskrail.clip_file = str(clip)
    yield from unfold("Preview", "Show the Clip")
    yield from click("Show the Clip")
    if sys.platform == "linux":
        assert said.read_text("utf-8").strip() == str(clip)
    yield from step("the clip handed to a player")


def opened(path: Path) -> None:
    """A plan file in this scene, as from the file browser."""
    with bpy.context.temp_override(window=window()):
        bpy.ops.duskrail.open(filepath=str(path))
        bpy.ops.ed.undo_push(message="open")


def wheel_down() -> Wait:
    """The sidebar scrolled down by most of its height."""
    side = region("UI")
    for _ in range(6):
        event("WHEELDOWNMOUSE", "PRESS", side.x + 5, side.y + side.height / 2)
        yield 0.1


def the_night() -> Wait:
    """The Milky Way over the place, through the camera, and in the evening view."""
    opened(OUT / "night.plan.json")
    yield from reviewed()
    scene = window().scene
    with bpy.context.temp_override(window=window()):
        scene.frame_set(120)
    yield from look_at_place()
    yield 2 * DRAWN_S
    yield from step("night over the place")
    yield from click("Picture")
    scene.duskrail.show_ways = True
    yield 2 * DRAWN_S
    yield from step("night through the camera")
    scene.duskrail.show_ways = False
    yield from click("Evening View")
    yield from shown_evening()
    yield from step("night in the evening view")
    scene.duskrail.show_ways = True
    yield 2 * DRAWN_S
    yield from step("night in the evening view with ways")
    for number in (1, 240):
        with bpy.context.temp_override(window=window()):
            scene.frame_set(number)
        yield 2 * DRAWN_S
        yield from step(f"night at frame {number}")
    opened(OUT / "moon.plan.json")
    yield from reviewed()
    with bpy.context.temp_override(window=window()):
        scene.frame_set(300)
    yield from to_top()
    yield from click("Evening View")
    yield from shown_evening()
    found = next(f for f in live().state_of(scene).review.findings if f.code == "moon-in-frame")
    yield from unfold_finding(found)
    yield 2 * DRAWN_S
    yield from step("the moon in the picture and among the findings")
    yield from click("Evening View")


# ---------------------------------------------------------------- things that happen at work


def hands_on() -> Wait:
    """Things grabbed in the view, an edit refused, a preview stopped, a file changed by somebody else."""
    yield from arrive("New Example Scene")
    yield from dusk()
    yield from click("Rig")
    yield from grab_a_pose()
    yield from step("pose turned and back")
    yield from drag_a_handle()
    yield from drag_the_event()
    yield from refused()
    yield from greyed_out()
    yield from stopped_preview()
    yield from changed_file()


def dusk() -> Wait:
    """The picture after sunset, with windows lit in plain shading too."""
    yield from click("Picture")
    with bpy.context.temp_override(window=window()):
        window().scene.frame_set(330)
    yield 3 * DRAWN_S
    parts = sys.modules[f"{MODULE}.scene.parts"]
    lit = parts.object_of(window().scene, "windows")
    assert lit is not None, "no windows are drawn"
    assert lit.color[0] > 0.5, tuple(lit.color)
    yield from step("the picture at dusk")
    window().scene.frame_set(1)
    yield DRAWN_S


def refused() -> Wait:
    yield from to_top()
    yield from fill_in("Latitude", "89.9", lambda: bool(live().state_of(window().scene).problem))
    assert "shoot.anchor" in live().state_of(window().scene).problem
    assert plan().site.latitude_deg != 89.9
    yield from step("refused with a reason")


def greyed_out() -> Wait:
    """A button that can't be used says why, under the mouse."""
    yield from unfold("Preview", "Show the Clip")
    x, y = spot
    sure = 0.0
    for _ in range(2 * TRIES):  # a tooltip waits for a mouse at rest, and for the window
        move(x - 3, y)
        yield 0.3
        move(x, y)
        yield 4 * DRAWN_S
        _, _, sure = look_for("There is no clip yet. Render one first")
        if sure >= SURE:
            break
    assert sure >= SURE, f"no reason is told (best {sure:.2f})"
    yield from step("greyed out with the reason")


def grab_a_pose() -> Wait:
    """Turn the last pose's ghost by keys, as anything is turned, and undo that."""
    scene = window().scene
    selection = sys.modules[f"{MODULE}.state.selection"]
    before = plan()
    with bpy.context.temp_override(window=window()):
        assert selection.select_pose(bpy.context, scene, 1) == 1
        bpy.ops.ed.undo_push(message="select")
    x, y = in_view(0.4, 0.5)
    yield from key("R")
    press("Z", x, y)
    yield from type_text("-5", x, y)
    press("RET", x, y)
    yield 2 * DRAWN_S
    turned = plan()
    assert abs(turned.move.poses[1].pan_deg - before.move.poses[1].pan_deg - 5.0) < 0.01, turned.move.poses
    yield from step("pose turned", pan_deg=turned.move.poses[1].pan_deg)
    yield from key("Z", ctrl=True)
    assert plan().move.poses[1].pan_deg == before.move.poses[1].pan_deg, plan().move.poses


def drag_a_handle() -> Wait:
    """The ring around the chosen pose's camera pans it; one step of undo takes it back."""
    from bpy_extras.view3d_utils import location_3d_to_region_2d

    view3d = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    rig = sys.modules[f"{MODULE}.scene.rig"]
    with bpy.context.temp_override(window=window(), area=view3d, region=region("WINDOW")):
        bpy.ops.duskrail.show_rig()
        bpy.ops.duskrail.pose_go(pose=1)
        bpy.ops.ed.undo_push(message="chosen")
    yield 3 * DRAWN_S
    before = plan()
    middle = rig.pose_matrices(before)[1].translation
    beside = middle + 0.1 * rig.rail_matrix(before).col[1].xyz
    shown, turned = region("WINDOW"), view3d.spaces.active.region_3d
    at, other = (location_3d_to_region_2d(shown, turned, spot_m) for spot_m in (middle, beside))
    along = (other - at).normalized()
    x, y = shown.x + at.x + along.x * DIAL_PX, shown.y + at.y + along.y * DIAL_PX
    move(x - 2, y)
    yield DRAWN_S
    move(x, y)
    yield DRAWN_S
    event("LEFTMOUSE", "PRESS", x, y)
    yield DRAWN_S
    for nearer in range(1, 7):
        event("MOUSEMOVE", "NOTHING", x - along.x * 8 * nearer, y - along.y * 8 * nearer)
        yield 0.2
    event("LEFTMOUSE", "RELEASE", x - along.x * 48, y - along.y * 48)
    yield 2 * DRAWN_S
    after = plan()
    assert after.move.poses[1] != before.move.poses[1], "nothing was dragged"
    yield from step("a handle dragged", pose=after.move.poses[1])
    yield from key("Z", ctrl=True)
    assert plan().move.poses[1] == before.move.poses[1], (plan().move.poses, before.move.poses)


def drag_the_event() -> Wait:
    """The handle on the bar above the rail moves the sunset in the move; one step of undo takes it back."""
    from bpy_extras.view3d_utils import location_3d_to_region_2d

    gizmos = sys.modules[f"{MODULE}.ui.gizmos"]
    shown = region("WINDOW")
    view3d = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    before = plan()
    bar = gizmos.event_bar(before)
    at, other = (
        location_3d_to_region_2d(shown, view3d.spaces.active.region_3d, bar.at(place))
        for place in (before.shoot.anchor.at, 0.9)
    )
    x, y = shown.x + at.x, shown.y + at.y
    move(x - 2, y)
    yield DRAWN_S
    move(x, y)
    yield DRAWN_S
    event("LEFTMOUSE", "PRESS", x, y)
    yield DRAWN_S
    for part in range(1, 7):
        event("MOUSEMOVE", "NOTHING", x + (other.x - at.x) * part / 6.0, y + (other.y - at.y) * part / 6.0)
        yield 0.2
    event("LEFTMOUSE", "RELEASE", x + other.x - at.x, y + other.y - at.y)
    yield 3 * DRAWN_S
    assert plan().shoot.anchor.at > before.shoot.anchor.at + 0.1, plan().shoot.anchor
    yield from step("the sunset dragged along the bar", at=plan().shoot.anchor.at)
    yield from key("Z", ctrl=True)
    assert plan().shoot.anchor == before.shoot.anchor, (plan().shoot.anchor, before.shoot.anchor)


def stopped_preview() -> Wait:
    """Esc stops the rendering, and nothing is left of it."""
    jobs = sys.modules[f"{MODULE}.ui.operators.preview"]
    window().scene.duskrail.clip_file = str(OUT / "stopped.mp4")
    window().scene.duskrail.look = "LIT"
    yield from click("Render Preview")
    for _ in range(240):
        if jobs.current().done_fraction > 0.0 or not jobs.running():
            break
        yield 0.5
    assert jobs.running(), jobs.current().problem
    yield from step("preview in the status bar", said=jobs.current().text)
    yield from key("ESC")
    yield 2 * DRAWN_S
    assert jobs.current().stopped
    assert not (OUT / "stopped.mp4").exists()
    yield from step("preview stopped")


def changed_file() -> Wait:
    """A plan file changed on disk is overwritten only after asking."""
    scene = window().scene
    with bpy.context.temp_override(window=window()):
        bpy.ops.duskrail.save_as(filepath=str(OUT / "evening.plan.json"))
    (OUT / "evening.plan.json").write_text("somebody else's", encoding="utf-8")
    scene.duskrail.title = "Mine"
    yield from unfold("Plan File", "Read the Scene Back")
    yield from seek("Open…")
    side = region("UI")
    yield from click_at(side.x + 0.47 * side.width, spot[1])  # Save is the middle one of the three
    _, _, sure = look_for("Overwrite the plan file?")
    assert sure >= SURE, f"nobody asked (best {sure:.2f})"
    yield from step("asked before overwriting")
    assert (OUT / "evening.plan.json").read_text("utf-8") == "somebody else's"
    yield from key("ESC")


# ---------------------------------------------------------------- scenes that are not as they should be


def odd_scenes() -> Wait:
    """Each oddity works, or is told with its remedy, in the window."""
    yield from arrive("New Example Scene")
    for oddity in (odd_units, odd_parent, rig_deleted, renamed, no_camera, in_edit_mode, two_scenes, linked):
        yield from to_top()
        yield from oddity()


def touched(message: str) -> None:
    """What an edit by hand leaves behind: an undo step, and everything evaluated."""
    with bpy.context.temp_override(window=window()):
        bpy.context.view_layer.update()
        bpy.ops.ed.undo_push(message=message)


def block(name: str) -> Any:
    parts = sys.modules[f"{MODULE}.scene.parts"]
    return next(b for b in parts.objects_of(window().scene, "block") if b.name == name)


def choose(*things: Any) -> None:
    with bpy.context.temp_override(window=window()):
        sys.modules[f"{MODULE}.state.selection"].select(bpy.context, things)
        bpy.ops.ed.undo_push(message="select")


def odd_units() -> Wait:
    window().scene.unit_settings.scale_length = 0.01
    touched("units")
    yield from step("unit scale 0.01")
    yield from click("Set Unit Scale to 1")
    assert window().scene.unit_settings.scale_length == 1.0


def odd_parent() -> Wait:
    """A block under a parent that is scaled and turned: taken as it stands, or refused with a remedy."""
    before = plan()
    parent = bpy.data.objects.new("Crooked", None)
    window().scene.collection.objects.link(parent)
    parent.scale, parent.rotation_euler = (2.0, 0.5, 1.0), (0.3, 0.0, 0.7)
    thing = block("inn")
    thing.parent = parent
    touched("parent")
    yield 2 * DRAWN_S
    problem = live().state_of(window().scene).problem
    assert problem or plan() != before
    yield from step("a scaled and turned parent", problem=problem)
    bpy.data.objects.remove(parent)
    touched("no parent")
    yield DRAWN_S


def rig_deleted() -> Wait:
    """Deleted by key; one button brings it back."""
    parts = sys.modules[f"{MODULE}.scene.parts"]
    scene = window().scene
    choose(*(parts.object_of(scene, part) for part in ("rail", "camera")))
    yield from key("DEL")
    yield DRAWN_S
    assert parts.object_of(scene, "rail") is None
    yield from step("rail and camera deleted")
    yield from click("Redraw")
    assert parts.object_of(scene, "rail") is not None
    assert parts.object_of(scene, "camera") is not None


def renamed() -> Wait:
    block("lighthouse").name = "Old light"
    touched("rename")
    yield 2 * DRAWN_S
    assert "Old light" in [b.name for b in plan().blocks], [b.name for b in plan().blocks]
    assert plan().composition.subject == "Old light", plan().composition
    yield from step("the subject renamed", problem=live().state_of(window().scene).problem)


def no_camera() -> Wait:
    window().scene.camera = None
    touched("no camera")
    yield from click("Picture")
    assert window().scene.camera is not None
    yield from step("the picture, from a scene without a camera")


def in_edit_mode() -> Wait:
    """A mesh pulled at in Edit Mode; the plan takes it when that is left."""
    yield from look_at_place()
    thing = block("boathouse")
    before = plan()
    choose(thing)
    yield from key("TAB")
    assert bpy.context.mode == "EDIT_MESH", bpy.context.mode
    x, y = in_view(0.4, 0.5)
    yield from key("A")
    yield from key("S")
    yield from type_text("2", x, y)
    press("RET", x, y)
    yield DRAWN_S
    yield from step("in edit mode")
    yield from key("TAB")
    yield DRAWN_S
    assert plan() != before, "the plan didn't take what was edited"


def two_scenes() -> Wait:
    first = window().scene
    before = plan()
    with bpy.context.temp_override(window=window()):
        bpy.ops.duskrail.new_scene(example=False)
    yield DRAWN_S
    assert window().scene is not first
    assert not plan().blocks
    yield from step("a second scene with a plan")
    with bpy.context.temp_override(window=window()):
        bpy.ops.scene.delete()
    yield DRAWN_S
    if window().scene != first:
        window().scene = first
    yield DRAWN_S
    assert plan() == before
    yield from step("the second scene deleted")


def linked() -> Wait:
    """A scene linked from another file can be looked at; nothing in it can be changed."""
    path = str(OUT / "library.blend")
    bpy.data.libraries.write(path, {window().scene}, fake_user=True)
    with bpy.data.libraries.load(path, link=True) as (source, wanted):
        wanted.scenes = list(source.scenes)[:1]
    theirs = next(scene for scene in bpy.data.scenes if scene.library)
    before = live().plan_of(theirs)
    window().scene = theirs
    yield 2 * DRAWN_S
    yield from step("a linked scene")
    theirs.duskrail.title = "Not mine"
    yield DRAWN_S
    assert live().plan_of(theirs) == before


# ---------------------------------------------------------------- the evening, in the view


def evening_view() -> Wait:
    """The picture from day to night in the view and back; a finding's bar clicked; disabled and enabled."""
    yield from arrive("New Example Scene")
    told["plan"] = plan_text()
    before = kept_of_view()
    yield from click("Evening View")
    yield from shown_evening()
    for name, frame in (("day", 1), ("sunset", 180), ("dusk", 270), ("night", 360)):
        with bpy.context.temp_override(window=window()):
            window().scene.frame_set(frame)
        yield 2 * DRAWN_S
        told.setdefault("evening", {})[frame] = mean_colour(f"evening {name}")
        yield from step(name, mean=told["evening"][frame])
    yield from saved_meanwhile(before)
    yield from click("Evening View")
    assert kept_of_view() == before, (kept_of_view(), before)
    yield from step("back")
    yield from other_day()
    yield from a_preset_chosen()
    yield from in_german()
    yield from a_bar_of_the_timeline()
    yield from in_every_workspace()
    yield from disabled_and_enabled()


def in_every_workspace() -> Wait:
    """The whole move is in the timelines of other workspaces too, of this plan and of one opened after it."""
    seen = {}
    for path in ("", str(EXAMPLES / "classic_mistakes.plan.json")):
        if path:
            with bpy.context.temp_override(window=window()):
                bpy.ops.duskrail.open(filepath=path)
        for name in ("Layout", "Animation", "Rendering"):
            window().workspace = bpy.data.workspaces[name]
            for _ in range(20):  # a workspace that was never seen takes a while to be drawn
                yield DRAWN_S
                first, last = seen[name] = frames_shown()
                count = plan().shoot.frames
                if -0.2 * count < first <= 1.0 and count <= last < 1.2 * count:
                    break
            else:
                raise AssertionError((path, seen))
            if name == "Animation":
                yield from step("the whole move in the Animation workspace", frames=seen[name])
    window().workspace = bpy.data.workspaces["Layout"]
    yield 2 * DRAWN_S


def frames_shown() -> tuple[float, float]:
    """The first and last frame that the timeline has room for."""
    shown = region("WINDOW", "DOPESHEET_EDITOR")
    first, last = (shown.view2d.region_to_view(x, 0)[0] for x in (0, shown.width))
    return float(first), float(last)


def other_day() -> Wait:
    """The slider lights the place as two months later; the plan keeps its day."""
    scene, before = window().scene, plan()
    yield from to_top()
    yield from fill_in("Other Day", "60", lambda: bool(scene.duskrail.look_days == 60))
    own, shown = live().frames_of(scene), live().shown_frames(scene)
    assert plan() == before
    told["other_day"] = [float(f.sun_azimuth_deg[len(f) // 2]) for f in (own, shown)]
    yield from step("another day", sun_deg=told["other_day"])
    yield from fill_in("Other Day", "0", lambda: bool(scene.duskrail.look_days == 0))
    assert live().shown_frames(scene) is live().frames_of(scene)


def a_preset_chosen() -> Wait:
    """A place kept as a preset comes back with a click in the header's list."""
    scene, kept = window().scene, plan().site
    with bpy.context.temp_override(window=window()):
        bpy.ops.duskrail.place_preset_add(name="Old Harbour")
    scene.duskrail.latitude = 47.25
    assert plan().site.latitude_deg == 47.25
    yield from to_top()
    yield from seek("Place and Light")
    side = region("UI")
    yield from click_at(side.x + PRESETS_SHARE * side.width, spot[1])
    yield DRAWN_S
    x, y, sure = look_for("Old Harbour")
    assert sure >= SURE, f"no preset is offered (best {sure:.2f})"
    yield from step("presets of places")
    yield from click_at(x, y)
    yield DRAWN_S
    assert plan().site.latitude_deg == kept.latitude_deg, plan().site
    yield from key("ESC")  # the list stays open


def in_german() -> Wait:
    """The interface switched to German and back: sidebar, findings and readout follow."""
    view: Any = bpy.context.preferences.view
    language = view.language
    view.language = "de_DE"
    view.use_translate_interface = True
    yield 3 * DRAWN_S
    german = sys.modules[f"{MODULE}.ui.german"].GERMAN
    yield from to_top()
    for words in ("Evening View", "Review", "Place and Light"):
        yield from seek(german[words])
    yield from to_top()
    yield from step("in German")
    view.language = language
    yield 3 * DRAWN_S
    yield from to_top()
    yield from seek("Evening View")


def plan_text() -> str:
    from planner_core.plan.file import plan_to_text

    return str(plan_to_text(plan()))


def evenings() -> Any:
    return sys.modules[f"{MODULE}.ui.evening"]


def kept_of_view() -> dict[Any, Any]:
    """All that the evening view changes of a view."""
    view3d = next(a for a in window().screen.areas if a.type == "VIEW_3D").spaces.active
    module = evenings()
    return {
        (part, name): module.copied(getattr(module.part_of(view3d, part), name))
        for part, names in module.KEPT.items()
        for name in names
    }


def shown_evening() -> Wait:
    """Wait until the picture is prepared."""
    for _ in range(120):
        ready = evenings()._prepared.get(window().scene.session_uid)
        if ready is not None and ready.drawing is not None:
            break
        yield 0.5
    assert evenings()._evenings
    assert ready is not None
    assert ready.drawing is not None, "the picture was never drawn"
    yield 2 * DRAWN_S


def mean_colour(name: str) -> list[float]:
    """Mean of the picture's red, green and blue on the screen, 0 to 1, without its margin."""
    picture(name)
    pixels = _pixels(str(OUT / f"{name}.png"))[:, :, :3].astype(np.float64)
    view = region("WINDOW")
    area = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    rect = evenings().picture_rect(window().scene, view, area.spaces.active.region_3d)
    left, bottom = int(view.x + rect.left) + 4, int(view.y + rect.bottom) + 4
    inside = pixels[bottom : bottom + int(rect.height) - 8, left : left + int(rect.width) - 8]
    return [float(v) for v in inside.reshape(-1, 3).mean(axis=0)]


def saved_meanwhile(before: dict[Any, Any]) -> Wait:
    """A file saved in the evening view has the view as it was before; the view goes on."""
    seen: list[Any] = []
    bpy.app.handlers.save_pre.append(lambda *_more: seen.append(kept_of_view()))
    with bpy.context.temp_override(window=window()):
        bpy.ops.wm.save_as_mainfile(filepath=str(OUT / "evening.blend"), copy=True)
    bpy.app.handlers.save_pre.pop()
    assert seen == [before], seen
    assert evenings()._evenings
    yield DRAWN_S


def a_bar_of_the_timeline() -> Wait:
    """A click on the mark of a finding in the timeline goes to its frames."""
    yield from to_top()
    yield from fill_in("Falls At", "15", lambda: bool(plan().shoot.anchor.at == 0.15))
    yield from reviewed()
    yield 2 * DRAWN_S
    scene = window().scene
    timeline = sys.modules[f"{MODULE}.ui.timeline"]
    shown = region("WINDOW", "DOPESHEET_EDITOR")
    found = timeline.bars(scene, shown)
    assert found, "no finding is about some of the frames"
    bar = found[-1]
    outside = 1 if bar.finding.frames[0] > 1 else bar.finding.frames[1] + 1
    with bpy.context.temp_override(window=window()):
        scene.frame_set(min(outside, scene.frame_end))
    yield DRAWN_S
    left, bottom, size = bar.mark
    yield from click_at(shown.x + left + size / 2.0, shown.y + bottom + size / 2.0)
    first, last = bar.finding.frames
    assert first <= scene.frame_current <= last, (bar.finding.code, scene.frame_current)
    yield from step("a bar of the timeline clicked", code=bar.finding.code, frame=scene.frame_current)


def disabled_and_enabled() -> Wait:
    """Disabled, nothing of it is left in the view; enabled again, its buttons work."""
    with bpy.context.temp_override(window=window()):
        bpy.ops.preferences.addon_disable(module=MODULE)
        yield 2 * DRAWN_S
        bpy.ops.preferences.addon_enable(module=MODULE)
    yield 2 * DRAWN_S
    _, _, sure = look_for("Evening View", region("UI"))
    if sure < SURE:  # a click on the tab that is open would fold the sidebar
        x, y, sure = look_for("Duskrail", region("UI"), upright=True)
        assert sure >= SURE_OF_TABS, sure
        yield from click_at(x, y)
    yield from to_top()
    yield from click("Evening View")
    yield from shown_evening()
    yield from step("disabled and enabled")


# ---------------------------------------------------------------- a photograph behind the blocks


def photograph() -> Wait:
    """A picture of the place without any word of where it was taken: pinned by clicks until that is found,
    then a block and a ridge from it.
    """
    yield from arrive("New Example Scene")
    yield from click("Evening View")
    yield from shown_evening()
    taken = taken_picture("visit.png")
    yield from click("Evening View")
    before = kept_of_view()
    view3d = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    with bpy.context.temp_override(window=window(), area=view3d, region=region("WINDOW")):
        bpy.ops.duskrail.photo_add(
            filepath=str(OUT / "visit.png"),
            where="RAIL",
            use_bearing=True,
            bearing=np.radians(taken.bearing_deg - 8.0),  # as read off a map, badly
            field_of_view=np.radians(taken.fov_deg + 5.0),
        )
        bpy.ops.ed.undo_push(message="photo")
    yield 3 * DRAWN_S
    yield from step("behind the blocks", photo=plan().photos[0])
    for name, corner in PINNED:
        yield from pin_by_clicks(taken, name, corner)
    found = plan().photos[0]
    told["photo"] = {
        "bearing_off_deg": found.bearing_deg - taken.bearing_deg,
        "fov_off_deg": found.fov_deg - taken.fov_deg,
        "place_off_m": float(np.linalg.norm(np.subtract(found.place_m, taken.place_m))),
    }
    yield from step("pinned", **told["photo"])
    yield from click("Photographs")
    yield from seek("Pin Corner")
    yield from step("the panel of photographs")
    yield from to_top()
    yield from from_the_photograph()
    yield from undone_to(lambda: len(plan().blocks))
    view = sys.modules[f"{MODULE}.ui.photo_view"]
    with bpy.context.temp_override(window=window(), area=view3d, region=region("WINDOW")):
        bpy.ops.duskrail.photo_show(photo=0)
    assert not view.shown_in(view3d.spaces.active)
    yield 2 * DRAWN_S
    assert kept_of_view() == before, (kept_of_view(), before)
    assert window().scene.camera is not None
    yield from step("the view as it was")


PINNED = (
    ("lighthouse", "3"),
    ("inn", "1"),
    ("inn", "7"),
    ("boathouse", "6"),
    ("boathouse", "4"),
    ("lighthouse", "8"),
)


def taken_picture(name: str) -> Any:
    """The picture in view kept as a file, and how it was taken as a photograph of the plan."""
    from planner_core.picture import projection
    from planner_core.plan.model import Photo

    frames = live().frames_of(window().scene)
    picture("seen")
    pixels = _pixels(str(OUT / "seen.png"))
    view = region("WINDOW")
    area = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    rect = evenings().picture_rect(window().scene, view, area.spaces.active.region_3d)
    left, bottom = round(view.x + rect.left), round(view.y + rect.bottom)
    shown = pixels[bottom : bottom + round(rect.height), left : left + round(rect.width)]
    image: Any = bpy.data.images.new(name, shown.shape[1], shown.shape[0])
    image.pixels.foreach_set(np.ascontiguousarray(shown).ravel())
    image.filepath_raw, image.file_format = str(OUT / name), "PNG"
    image.save()
    bpy.data.images.remove(image)
    crop = projection.delivered_crop(frames.plan.camera, frames.plan.clip)
    return Photo(
        file=name,
        width_px=shown.shape[1],
        height_px=shown.shape[0],
        place_m=(float(frames.camera_m[0, 0]), float(frames.camera_m[0, 1]), float(frames.camera_m[0, 2])),
        bearing_deg=float(frames.lens_bearing_deg[0]) % 360.0,
        altitude_deg=float(np.degrees(np.arcsin(-frames.camera_rotation[0][2, 2]))),
        fov_deg=float(np.degrees(2.0 * np.arctan(frames.plan.clip.width_px / 2.0 / crop.focal_px))),
    )


def pin_by_clicks(taken: Any, name: str, corner: str) -> Wait:
    """Click a block's corner, then where the photograph has it."""
    from bpy_extras.view3d_utils import location_3d_to_region_2d
    from mathutils import Vector

    from planner_core.photo import camera as cameras
    from planner_core.photo.pins import corner_m

    view3d = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    shown = region("WINDOW")
    block_ = next(b for b in plan().blocks if b.name == name)
    place = corner_m(plan(), block_, corner, "pin")
    aim = cameras.photo_rotation(taken, plan().site.scene_north_deg)
    ((x_px, y_px),) = cameras.pixels(taken, [place - np.array(taken.place_m)], aim, cameras.focal_px(taken))
    before = len(plan().photos[0].pins)
    with bpy.context.temp_override(window=window(), area=view3d, region=shown):
        bpy.ops.duskrail.photo_pin("INVOKE_DEFAULT", True, what="CORNER", photo=0)
    yield DRAWN_S
    at = location_3d_to_region_2d(shown, view3d.spaces.active.region_3d, Vector(place.tolist()))
    yield from click_at(shown.x + at.x, shown.y + at.y)
    if before == 1:
        yield from step("a corner clicked")
    x, y = in_photograph(x_px, y_px)
    yield from click_at(x, y)
    yield DRAWN_S
    assert len(plan().photos[0].pins) == before + 1, (name, corner, plan().photos[0].pins)


def in_photograph(x_px: float, y_px: float) -> tuple[float, float]:
    """Where on the screen a point of the photograph in view is."""
    view = sys.modules[f"{MODULE}.ui.photo_view"]
    view3d = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    shown = region("WINDOW")
    with bpy.context.temp_override(window=window(), area=view3d, region=shown):
        spot = view.spot_of(bpy.context, plan(), plan().photos[0], (x_px, y_px))
    return shown.x + spot.x, shown.y + spot.y


def from_the_photograph() -> Wait:
    """Foot and top of a thing clicked; then a skyline, ended by Enter."""
    view3d = next(a for a in window().screen.areas if a.type == "VIEW_3D")
    photo, blocks_before = plan().photos[0], len(plan().blocks)
    wide, high = photo.width_px, photo.height_px
    with bpy.context.temp_override(window=window(), area=view3d, region=region("WINDOW")):
        bpy.ops.duskrail.photo_block("INVOKE_DEFAULT", True, photo=0)
    for x_px, y_px in ((0.7 * wide, 0.92 * high), (0.7 * wide, 0.7 * high)):
        yield from click_at(*in_photograph(x_px, y_px))
    assert len(plan().blocks) == blocks_before + 1, plan().blocks
    with bpy.context.temp_override(window=window(), area=view3d, region=region("WINDOW")):
        bpy.ops.duskrail.photo_ridge("INVOKE_DEFAULT", True, photo=0)
    for share, rise in ((0.1, 0.5), (0.3, 0.42), (0.5, 0.45)):
        yield from click_at(*in_photograph(share * wide, rise * high))
    yield from step("a skyline under way")
    press("RET", *at_mouse)
    yield 2 * DRAWN_S
    assert plan().blocks[-1].shape == "ridge", plan().blocks[-1]
    yield from step("a block and a ridge from the photograph", names=[b.name for b in plan().blocks])


def undone_to(measure: Callable[[], int]) -> Wait:
    """Ctrl Z takes back the last thing that was done."""
    before = measure()
    yield from key("Z", ctrl=True)
    assert measure() == before - 1, (measure(), before)


WALKS = {
    "photograph": photograph,
    "newcomer": newcomer,
    "first still": first_still,
    "advice": advice,
    "manners": manners,
    "hands on": hands_on,
    "odd scenes": odd_scenes,
    "evening view": evening_view,
}


def next_step(steps: Wait = WALKS[os.environ.get("DUSKRAIL_WALK", "newcomer")]()) -> float | None:  # noqa: B008
    try:
        return next(steps)
    except StopIteration:
        told["finished"] = True
    except BaseException:
        told["problem"] = traceback.format_exc()
        try:
            picture("where it stopped")
        except Exception:
            told["problem"] += traceback.format_exc()
    (OUT / "told.json").write_text(json.dumps(told, indent=1, default=str), encoding="utf-8")
    sys.stdout.flush()
    os._exit(0 if told.get("finished") else 3)


bpy.context.preferences.view.show_splash = False
bpy.app.timers.register(next_step, first_interval=2.0)

"""A walk through the add-on in a real Blender window, as somebody new to it would go.

Run by Blender (`blender --enable-event-simulate --python gui_walk.py`), not by pytest. It moves the
mouse, clicks and types; it finds what to click by its words, looking for them on the screen, as a
person does. OUT names the folder for its pictures, DUSKRAIL_EXTENSION the extension's archive. What it
saw is written to OUT/told.json at the end.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import traceback
from collections.abc import Iterator
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
SURE_OF_TABS = 0.5  # letters turned on their side are drawn a little differently
ROW_PX = 20.0
DRAWN_S = 0.7  # for Blender to draw what was clicked; drawing is in software on machines without a screen

told: dict[str, Any] = {"steps": []}
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
    image = bpy.data.images.load(path)
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
        row, column = np.unravel_index(int(np.argmax(found)), found.shape)
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
    names = {".": "PERIOD", "-": "MINUS", "/": "SLASH"}
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
    for turn in range(40):
        x, y, sure = look_for(words, side)
        if sure >= SURE and side.y + 30 < y:
            spot[:] = [x, y]
            return
        up = turn >= 20  # down first; then from below up again
        move(*middle)
        yield 0.1
        for _ in range(8 if up else 4):
            event("WHEELUPMOUSE" if up else "WHEELDOWNMOUSE", "PRESS", *middle)
        yield DRAWN_S
    picture(f"lost {words}")
    raise AssertionError(f"“{words}” is nowhere in the sidebar (best {sure:.2f})")


def click(words: str) -> Wait:
    """Click what is called so in the sidebar."""
    yield from seek(words)
    yield from click_at(*spot)


def fill_in(words: str, value: str, beside_px: float = 120.0, where: Any = None, rows_below: int = 0) -> Wait:
    """Type a value into the field to the right of its name, or so many rows below that."""
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
    yield DRAWN_S
    press("A", x, y, ctrl=True)
    yield from type_text(value, x, y)
    press("RET", x, y)
    yield DRAWN_S


def in_view(x_share: float, y_share: float) -> tuple[float, float]:
    view = region("WINDOW")
    return view.x + x_share * view.width, view.y + y_share * view.height


def key(kind: str, **more: Any) -> Wait:
    """Press a key over the 3D view."""
    x, y = in_view(0.4, 0.5)
    move(x, y)
    yield 0.2
    press(kind, x, y, **more)
    yield DRAWN_S


# ---------------------------------------------------------------- the walk


def live() -> Any:
    return sys.modules[f"{MODULE}.live"]


def plan() -> Any:
    return live().plan_of(window().scene)


def step(name: str, **facts: Any) -> Wait:
    """A picture, and what is noted of this step."""
    yield DRAWN_S
    picture(f"{len(told['steps']) + 1:02d} {name}")
    told["steps"].append({"name": name, **facts})


def arrive() -> Wait:
    """Install the extension, open the tab, make the example."""
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
    yield from click_at(x, y)
    yield from step("extension installed, tab chosen")

    yield from click("New Example Scene")
    assert plan() is not None
    yield from step("new example scene", blocks=len(plan().blocks), title=plan().title)


def newcomer() -> Wait:
    """The whole way: blocks, rig, poses, sunset, findings, a fix, the plan file, a preview."""
    yield from arrive()
    yield from blocks()
    yield from rig_and_poses()
    yield from evening()
    yield from file_and_preview()


def confirm() -> Wait:
    """Enter, in the dialog that has opened under the mouse."""
    press("RET", *at_mouse)
    yield DRAWN_S


def blocks() -> Wait:
    before = len(plan().blocks)
    yield from click("Tower")
    yield from fill_in("Distance", "210", where=True)
    yield from step("dialog of a tower")
    yield from confirm()
    assert plan().blocks[-1].name == "tower", plan().blocks[-1].name
    for label, bearing in (("House", "300"), ("Box", "235"), ("Tree", "290")):
        yield from click(label)
        yield from fill_in("Bearing", bearing, where=True)
        yield from confirm()
    yield from click("3D cursor")
    for label, place in (("Figure", (0.30, 0.30)), ("Post", (0.55, 0.28))):
        yield from click_at(*in_view(*place), "RIGHTMOUSE", shift=True)
        yield from click(label)
    names = [block.name for block in plan().blocks[before:]]
    assert {"tower", "house", "box", "tree", "figure", "post"} <= set(names), names
    yield from step("six blocks added", names=names)


def to_top() -> Wait:
    """Scroll the sidebar up."""
    side = region("UI")
    middle = (side.x + 5, side.y + side.height / 2)  # beside the lists, which would scroll instead
    move(*middle)
    yield 0.1
    for _ in range(60):
        event("WHEELUPMOUSE", "PRESS", *middle)
    yield DRAWN_S


def rig_and_poses() -> Wait:
    yield from to_top()
    yield from click("Rig")
    yield from click_at(*in_view(0.45, 0.40), "RIGHTMOUSE", shift=True)
    old = plan().rig.origin_m
    yield from click("Rail to 3D Cursor")
    assert plan().rig.origin_m != old
    yield from step("rig placed", origin_m=plan().rig.origin_m)
    yield from to_top()
    yield from click("Picture")
    yield from step("through the camera")
    poses = plan().move.poses
    yield from fill_in("Pose 1 at", "0.3", beside_px=90.0, rows_below=1)
    assert plan().move.poses != poses, "the first pose stays as it was"
    yield from step("first pose set", poses=[[p.at, p.slide_m, p.pan_deg] for p in plan().move.poses])
    yield from click("100 %")
    yield from fill_in("Pose 2 at", "1.0", beside_px=90.0, rows_below=1)
    assert plan().move.poses[-1].slide_m == 1.0, plan().move.poses
    yield from step("second pose set", poses=[[p.at, p.slide_m, p.pan_deg] for p in plan().move.poses])


def evening() -> Wait:
    yield from to_top()
    yield from fill_in("Falls at", "15")
    assert abs(plan().shoot.anchor.at - 0.15) < 1e-6, plan().shoot
    yield from step("sunset early in the move")
    report = live().desk(window().scene).review
    for _ in range(40):
        if live().is_reviewed(window().scene):
            break
        yield 0.25
    assert live().is_reviewed(window().scene), "the review is behind the plan"
    told["findings"] = [[found.level, found.code, found.message] for found in report.findings]
    yield from seek("Weakest Frame")
    yield from step("findings")
    yield from click("Fit the Start")
    assert abs(plan().shoot.anchor.at - 0.5) < 0.02, plan().shoot.anchor
    yield from step("one fix applied", at=plan().shoot.anchor.at)
    yield from key("Z", ctrl=True)
    assert abs(plan().shoot.anchor.at - 0.15) < 1e-6, "undo didn't take the fix back"
    yield from key("Z", ctrl=True, shift=True)
    assert abs(plan().shoot.anchor.at - 0.5) < 0.02, "redo didn't bring the fix again"
    yield from step("undone and redone")


def file_and_preview() -> Wait:
    yield from click("Save As…")
    yield from step("file browser")
    x, y = in_view(0.5, 0.5) if any(a.type == "VIEW_3D" for a in window().screen.areas) else (800, 450)
    move(x, y)
    press("RET", x, y)
    yield 2 * DRAWN_S
    saved = Path(window().scene.duskrail.file)
    assert saved.is_file(), "no plan file was saved"
    shutil.move(saved, OUT / saved.name)  # out of the folder that the browser opened with
    window().scene.duskrail.file = str(OUT / saved.name)
    yield from step("plan saved", file=saved.name)
    yield from fill_in("Every nth", "100")
    yield from click("Render Preview")
    jobs = sys.modules[f"{MODULE}.ops_preview"]
    assert jobs.current() is not None
    yield from step("preview under way")
    for _ in range(600):
        if not jobs.running():
            break
        yield 0.5
    job = jobs.current()
    told["preview"] = job.result
    assert job.result, job.problem
    assert job.result["frames"] == 4
    assert Path(job.result["output"]).stat().st_size > 1000
    yield from step("preview done", clip=job.result)


def hands_on() -> Wait:
    """Things grabbed in the view, an edit refused, a preview stopped, a file changed by somebody else."""
    yield from arrive()
    yield from click("Rig")
    yield from grab_a_pose()
    yield from step("pose turned and back")
    yield from to_top()
    yield from fill_in("Latitude", "89.9")
    assert "shoot.anchor" in live().desk(window().scene).problem
    assert plan().site.latitude_deg != 89.9
    yield from step("refused with a reason")
    yield from stopped_preview()
    yield from changed_file()


def grab_a_pose() -> Wait:
    """Turn the last pose's ghost by keys, as anything is turned, and undo that."""
    scene = window().scene
    selection = sys.modules[f"{MODULE}.selection"]
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
    told["pose_turned"] = True


def stopped_preview() -> Wait:
    """Esc stops the rendering, and nothing is left of it."""
    jobs = sys.modules[f"{MODULE}.ops_preview"]
    window().scene.duskrail.clip_file = str(OUT / "stopped.mp4")
    window().scene.duskrail.look = "LIT"
    yield from click("Render Preview")
    for _ in range(240):
        if jobs.current().share > 0.0 or not jobs.running():
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
    yield from click("Plan File")  # folds the panel …
    yield from click("Plan File")  # … and opens it
    yield from click("Save")
    yield from step("asked before overwriting")
    assert (OUT / "evening.plan.json").read_text("utf-8") == "somebody else's"
    yield from key("ESC")


WALKS = {"newcomer": newcomer, "hands on": hands_on}


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

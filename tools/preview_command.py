"""The preview verb: from arguments to a draft clip, with progress on standard error."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from planner_core.plan.file import load_plan
from planner_core.plan.model import Plan, PlanError
from planner_core.plan.writing import is_stream
from planner_core.words.durations import duration_text

from .files import say
from .outcome import DONE, UsageError, need_blender
from .terminal import StatusLine

if TYPE_CHECKING:
    from blender_addon.render.progress import Progress
    from blender_addon.render.request import PreviewError


# What the parts of a request are called on the command line
OPTIONS = {
    "frame_range": "--frames",
    "every": "--every",
    "size": "--size",
    "look": "--look",
    "beside": "--beside",
    "join": "--join",
    "jobs": "--jobs",
}


def run_preview(arguments: argparse.Namespace) -> int:
    """Make what was asked for; raises PlanError and UsageError before any frame is drawn."""
    plan = load_plan(arguments.plan)
    other = load_plan(arguments.beside) if arguments.beside else None
    _check(arguments, plan)
    need_blender()
    from blender_addon.render.request import PreviewError

    arguments.progress = ProgressLine(silent=arguments.quiet)
    try:
        if arguments.still is not None:
            _make_still(arguments, plan)
        elif arguments.output is not None:
            _make_clip(arguments, plan, other)
        if arguments.contact:
            _make_contact(arguments, plan)
        if arguments.blend:
            _save_scene(arguments, plan)
        if arguments.output is not None:  # last and alone, for whoever reads this in a script
            say(arguments.output, arguments.output)
    except PreviewError as problem:
        raise UsageError(_words(problem)) from None
    finally:
        arguments.progress.end()
    return DONE


def _words(problem: PreviewError) -> str:
    """What is wrong, by the names that the command line has for it."""
    from blender_addon.render.request import FramesMissingError

    remedy = ""
    if isinstance(problem, FramesMissingError):
        remedy = f"; draw them with --frames {problem.first}:{problem.last}"
    return f"{OPTIONS.get(problem.field, 'preview')}: {problem}{remedy}"


def _check(arguments: argparse.Namespace, plan: Plan) -> None:
    if not (arguments.output or arguments.contact or arguments.blend):
        raise UsageError("preview: where should the clip go? Add -o CLIP.mp4")
    if arguments.still is not None:
        if arguments.output is None:
            raise UsageError("preview: where should the still go? Add -o STILL.png")
        clip_only = {"--frames": arguments.frames, "--beside": arguments.beside, "--title": arguments.title}
        clip_only |= {"--join": arguments.join, "--every": arguments.every > 1, "--jobs": arguments.jobs}
        for option, given in clip_only.items():
            if given:
                raise UsageError(
                    f"preview: {option} is for a clip, and --still makes one picture; leave one out"
                )
        if arguments.still > plan.shoot.frames:
            raise PlanError(
                "--still", arguments.still, f"is past the last frame; the plan has {plan.shoot.frames}"
            )
    elif arguments.output is None and (
        arguments.title or arguments.burn_in or arguments.join or arguments.beside
    ):
        raise UsageError("preview: --title, --burn-in, --join and --beside need a clip; add -o CLIP.mp4")
    _check_endings(arguments)
    if arguments.frames and arguments.frames[1] > plan.shoot.frames:
        first, last = arguments.frames
        raise PlanError(
            "--frames", f"{first}:{last}", f"goes past the last frame; the plan has {plan.shoot.frames}"
        )


def _check_endings(arguments: argparse.Namespace) -> None:
    """A file whose name promises another kind than it would be is opened by the wrong program."""
    picture = arguments.still is not None
    endings = {
        "output": (".png", "a still") if picture else (".mp4", "a clip"),
        "contact": (".png", "a contact sheet"),
        "blend": (".blend", "a scene"),
    }
    for option, (ending, what) in endings.items():
        file = getattr(arguments, option)
        if file and Path(file).suffix.lower() != ending and not is_stream(Path(file)):
            name = "-o" if option == "output" else f"--{option}"
            raise PlanError(name, file, f"is not a name for {what}; end it in {ending}")


def _make_clip(arguments: argparse.Namespace, plan: Plan, other: Plan | None) -> None:
    from blender_addon.render.preview import render_preview
    from blender_addon.render.request import PreviewRequest

    request = PreviewRequest(
        plan=plan,
        output=Path(arguments.output),
        look=arguments.look,
        frame_range=arguments.frames,
        every=arguments.every,
        size=arguments.size,
        title=arguments.title,
        burn_in=arguments.burn_in,
        beside=other,
        join=arguments.join,
        jobs=arguments.jobs,
    )
    made = render_preview(request, arguments.progress)
    arguments.progress.end()
    width, height = made.size_px
    _tell(
        arguments,
        f"{made.output}: {len(made.frames)} frames at {made.fps:g} frames a second, {width}×{height}, "
        f"{made.engine}; {made.drawn} drawn now, {made.kept} kept from before.",
        arguments.output,
    )


def _make_still(arguments: argparse.Namespace, plan: Plan) -> None:
    from blender_addon.render.preview import render_still

    width, height = render_still(
        plan,
        arguments.still,
        Path(arguments.output),
        look=arguments.look,
        size=arguments.size,
        burn_in=arguments.burn_in,
        progress=arguments.progress,
    )
    arguments.progress.end()
    _tell(arguments, f"{arguments.output}: frame {arguments.still}, {width}×{height}.", arguments.output)


def _make_contact(arguments: argparse.Namespace, plan: Plan) -> None:
    from blender_addon.render.preview import render_contact
    from planner_core import compute_frames
    from planner_core.output.sheet.page import strip_frames
    from planner_core.review.assess import assess

    frames = compute_frames(plan)
    shown = [
        (one.frame, one.label) for one in strip_frames(frames, assess(plan, frames)) if one.label != "between"
    ]
    size = None if arguments.still is not None else arguments.size
    count = render_contact(
        plan, shown, Path(arguments.contact), look=arguments.look, size=size, progress=arguments.progress
    )
    arguments.progress.end()
    _tell(arguments, f"{arguments.contact}: a contact sheet of {count} frames.", arguments.contact)


def _save_scene(arguments: argparse.Namespace, plan: Plan) -> None:
    from blender_addon.render.preview import save_scene

    save_scene(plan, Path(arguments.blend))
    _tell(arguments, f"{arguments.blend}: the scene, to edit in Blender and to read back.", arguments.blend)


def _tell(arguments: argparse.Namespace, text: str, output: str) -> None:
    if not arguments.quiet:
        say(text, output)


def progress_text(progress: Progress) -> str:
    """How far it has come, in words."""
    if progress.engine:
        return f"Drawing with {progress.engine}."
    if progress.stage == "encoding":
        return "Writing the clip."
    left = (
        f", about {duration_text(max(1, round(progress.seconds_left)))} left" if progress.seconds_left else ""
    )
    return f"Frame {progress.done} of {progress.total}{left}"


class ProgressLine(StatusLine):
    """How far a draft clip has come."""

    def __call__(self, progress: Progress) -> None:
        share = progress.done / max(progress.total, 1)
        told_whole = progress.engine or progress.stage != "drawing"
        stage = f"{progress.stage} {progress.total}"
        self.show(progress_text(progress), share=None if told_whole else share, of=stage)

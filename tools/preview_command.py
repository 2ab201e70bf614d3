"""The preview verb: from arguments to a draft clip, with progress on standard error."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from planner_core.plan import PlanError
from planner_core.planfile import load_plan
from tools.duskrail import DONE, UsageError, need_blender


def run_preview(arguments: argparse.Namespace) -> int:
    """Render the clip; raises PlanError and UsageError before any frame is drawn."""
    plan = load_plan(arguments.plan)
    if arguments.output is None:
        raise UsageError("preview: where should the clip go? Add -o CLIP.mp4")
    output = Path(arguments.output)
    if not output.parent.is_dir():
        raise UsageError(f"{output}: the folder to write it to does not exist")
    if arguments.frames and arguments.frames[1] > plan.shoot.frames:
        first, last = arguments.frames
        raise PlanError(
            "--frames", f"{first}:{last}", f"goes past the last frame; the plan has {plan.shoot.frames}"
        )
    need_blender()
    from blender_addon.preview import PreviewError, render_preview

    try:
        made = render_preview(
            plan,
            output,
            look=arguments.look,
            frame_range=arguments.frames,
            every=arguments.every,
            size=arguments.size,
            progress=ProgressLine(),
        )
    except PreviewError as problem:
        raise UsageError(str(problem)) from None
    width, height = made.size_px
    print(
        f"{made.output}: {len(made.frames)} frames at {made.fps:g} frames a second, {width}×{height}, "
        f"{made.engine}; {made.drawn} drawn now, {made.kept} kept from before."
    )
    return DONE


class ProgressLine:
    """Shows one line of progress that overwrites itself in a terminal, or a line now and then elsewhere."""

    def __init__(self) -> None:
        self.in_terminal = sys.stderr.isatty()
        self.last_length = 0

    def __call__(self, text: str) -> None:
        if self.in_terminal:
            print("\r" + text.ljust(self.last_length), end="", file=sys.stderr, flush=True)
            self.last_length = len(text)
        else:
            print(text, file=sys.stderr, flush=True)

"""What the buttons do: operators of a few lines that change the plan through `state.live`; no layout here."""

from .. import ops_review
from . import blocks, plan, plan_file, preview, rig, timing, view

CLASSES = tuple(
    cls
    for module in (plan, timing, view, plan_file, blocks, rig, ops_review, preview)
    for cls in module.CLASSES
)

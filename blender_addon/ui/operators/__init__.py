"""What the buttons do: operators of a few lines that change the plan through `state.live`; no layout here."""

from . import blocks, plan, plan_file, preview, review, rig, timing, view

CLASSES = tuple(
    cls for module in (plan, timing, view, plan_file, blocks, rig, review, preview) for cls in module.CLASSES
)

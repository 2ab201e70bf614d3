"""Duskrail's core: plan, frames, review. No Blender in here.

plan = load_plan(path)            # PlanError on anything wrong
frames = compute_frames(plan)     # FrameTable
report = review(plan, frames)     # Review; report.findings
"""

from planner_core.findings import Finding, Review
from planner_core.frames import FrameTable, compute_frames
from planner_core.plan import Plan, PlanError
from planner_core.planfile import load_plan, save_plan
from planner_core.review import review

__all__ = [
    "Finding",
    "FrameTable",
    "Plan",
    "PlanError",
    "Review",
    "compute_frames",
    "load_plan",
    "review",
    "save_plan",
]

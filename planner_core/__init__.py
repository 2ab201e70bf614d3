"""Duskrail's core: plan, frames, review. No Blender in here.

plan = load_plan(path)            # PlanError on anything wrong
frames = compute_frames(plan)     # FrameTable
report = review(plan, frames)     # Review; report.findings
"""

import os

# Before numpy is loaded: products of matrices of three columns gain nothing from more threads, which would
# only wait for each other, and one thread adds up in the same order on every machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from planner_core.frames import FrameTable, compute_frames
from planner_core.plan.file import load_plan, save_plan
from planner_core.plan.model import Plan, PlanError
from planner_core.review.findings import Finding, Review
from planner_core.review.report import review

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

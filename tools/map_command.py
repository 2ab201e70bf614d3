"""The verbs that know the map and the year: blocks from footprints or a horizon, and dates."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

from planner_core.evening import beside, dates, milky_way
from planner_core.place import footprints
from planner_core.plan.file import load_plan, save_plan
from planner_core.plan.model import Plan, PlanError

from .files import deliver, say
from .outcome import DONE, UsageError


def run_blocks(arguments: argparse.Namespace) -> int:
    """Add what a map file holds to a plan, and say what was taken and left out."""
    plan = load_plan(arguments.plan)
    if Path(arguments.source).suffix.lower() == ".csv":
        plan, ridge = footprints.load_horizon(arguments.source, plan, distance_m=arguments.distance)
        said: tuple[str, ...] = (
            f"{ridge.name}: a ridge of {len(ridge.skyline_deg or ())} points, {ridge.distance_m:g} m away.",
        )
    else:
        selection = footprints.Selection(
            max_distance_m=arguments.within, default_height_m=arguments.height, min_area_m2=arguments.smallest
        )
        plan, imported = footprints.load_footprints(arguments.source, plan, selection)
        said = imported.said
    save_plan(plan, arguments.output)
    say("\n".join((*said, f"Written to {arguments.output}.")), arguments.output)
    return DONE


def run_dates(arguments: argparse.Namespace) -> int:
    """Say where sun or moon go down on which dates, or when the Milky Way stands over the place."""
    span = dates.date_span(arguments.first, arguments.last)
    plan, body = load_plan(arguments.plan), "moon" if arguments.moon else "sun"
    if arguments.milky_way:
        return _run_milky_way(arguments, plan, span)
    if arguments.beside is not None:
        return _run_beside(arguments, plan, body, span)
    if arguments.above:
        raise PlanError("above", arguments.above, "says how high over a block; name it with --beside BLOCK")
    table = dates.dates_table(plan, *span, body=body)
    if arguments.output:
        deliver(dates.dates_csv(table), arguments.output)
    say(dates.dates_text(table).rstrip("\n"), arguments.output)
    return DONE


def _run_milky_way(arguments: argparse.Namespace, plan: Plan, span: tuple[dt.date, dt.date]) -> int:
    for name, given in (("moon", arguments.moon), ("beside", arguments.beside), ("above", arguments.above)):
        if given:
            raise UsageError(f"dates: --{name} doesn't go with --milky-way; leave one of them out")
    nights = milky_way.nights(plan, *span)
    if arguments.output:
        deliver(milky_way.nights_csv(plan, nights), arguments.output)
    say(milky_way.nights_text(plan, nights).rstrip("\n"), arguments.output)
    return DONE


def _run_beside(arguments: argparse.Namespace, plan: Plan, body: str, span: tuple[dt.date, dt.date]) -> int:
    top, found = beside.beside_block(plan, *span, arguments.beside, body=body, above_deg=arguments.above)
    if arguments.output:
        deliver(beside.beside_csv(plan, found), arguments.output)
    say(beside.beside_text(plan, body, span, top, found).rstrip("\n"), arguments.output)
    return DONE

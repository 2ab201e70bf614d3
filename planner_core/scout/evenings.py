"""What if: the best spot for each evening, and the best evening for each spot; and from the planned place,
which block makes the best subject.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterator, Sequence
from typing import Any

import attrs
import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from planner_core.moves.measured import Measured
from planner_core.moves.score import shot_score
from planner_core.picture.composition import READABLE
from planner_core.place import blocking
from planner_core.plan.model import Composition, Plan, PlanError
from planner_core.plan.text import one_line
from planner_core.rig import geometry
from planner_core.scout.finds import BEHIND_M, Find, describe, told_apart
from planner_core.scout.search import Progress, ReviewedShot, Scout, Wishes
from planner_core.scout.shots import Shot, width_share_px, with_lens
from planner_core.scout.ties import steady
from planner_core.words.dates import day_words
from planner_core.words.language import say

Array = NDArray[np.float64]

MOST_SPOTS = 6
A_REVIEW_IN_SEARCH = 2  # reviews of the evenings to one of the search
SEARCHED_EVENINGS = 3  # first, middle and last: their light differs most
LONGEST_DAYS = 366


def on_date(plan: Plan, date: dt.date) -> Plan:
    """The plan on another date: its event of that date, or its start at the same time of day."""
    shoot = plan.shoot
    if shoot.anchor is not None:
        return attrs.evolve(plan, shoot=attrs.evolve(shoot, anchor=attrs.evolve(shoot.anchor, date=date)))
    assert shoot.start is not None
    start = dt.datetime.combine(date, shoot.start.timetz())
    return attrs.evolve(plan, shoot=attrs.evolve(shoot, start=start))


@frozen(kw_only=True, eq=False)
class Evenings:
    """Points of every spot on every evening, (evenings, spots), NaN where a shot can't be or is stopped; and
    finds has each spot as on its best evening, the best first. without lists dates that have no such event.
    """

    title: str
    dates: tuple[dt.date, ...]
    finds: tuple[Find, ...]
    points: Array
    without: tuple[dt.date, ...]
    scout: Scout
    planned_score: float

    @property
    def has_wishes(self) -> bool:
        """Whether the plan asks anything of light, sun or moon, which is what differs between evenings."""
        wishes = self.scout.plan.composition
        return wishes is not None and (wishes.light, wishes.sun, wishes.moon) != ("any", "any", "any")

    @property
    def remark(self) -> str:
        """What would make the evenings differ more."""
        if self.has_wishes:
            return ""
        return say(
            "The plan asks nothing of light, sun or moon in its composition, so one evening is much like "
            "another."
        )

    def best_spot(self, evening: int) -> int | None:
        """The spot of the most points on an evening, 0-based; None where none can be shot."""
        row = self.points[evening]
        return None if np.isnan(row).all() else int(np.nanargmax(row))

    def best_evenings(self, spot: int) -> list[int]:
        """The evenings on which a spot has its most points, 0-based."""
        column = self.points[:, spot]
        return np.flatnonzero(np.round(column, 1) == np.round(np.nanmax(column), 1)).tolist()

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON; spots count from 1."""
        return {
            "title": self.title,
            "planned_score": self.planned_score,
            "remark": self.remark,
            "finds": [
                {
                    "rank": number + 1,
                    **find.as_dict(),
                    "best_evenings": [self.dates[row].isoformat() for row in self.best_evenings(number)],
                }
                for number, find in enumerate(self.finds)
            ],
            "evenings": [
                {
                    "date": date.isoformat(),
                    "best": None if (best := self.best_spot(row)) is None else best + 1,
                    "scores": [None if np.isnan(v) else round(float(v), 1) for v in self.points[row]],
                }
                for row, date in enumerate(self.dates)
            ],
            "without_event": [date.isoformat() for date in self.without],
        }

    def lines(self) -> list[str]:
        """The table as text."""
        said = [
            f"{one_line(self.title) or 'Untitled plan'}: the best spot for each evening, and the best "
            "evening for each spot"
        ]
        for number, find in enumerate(self.finds):
            rows = self.best_evenings(number)
            when = day_words(self.dates[rows[0]], year=True)
            more = f" and {len(rows) - 1} more" if len(rows) > 1 else ""
            said += [
                "",
                f"{number + 1}. {find.name}  best on {when}{more}: {find.points:.0f}",
                f"    {find.reason}",
                f"    Costs: {', '.join(find.costs)}.",
            ]
        said += ["", "Evening         " + "".join(f"{n + 1:>6}" for n in range(len(self.finds))) + "   best"]
        for row, date in enumerate(self.dates):
            points = "".join("     –" if np.isnan(v) else f"{v:>6.0f}" for v in self.points[row])
            best = self.best_spot(row)
            said.append(
                f"{day_words(date, year=True):<16}{points}   {'none' if best is None else f'spot {best + 1}'}"
            )
        if self.without:
            said += ["", f"{len(self.without)} dates have no such event."]
        return [*said, *(["", self.remark] if self.remark else [])]


def spread_dates(first: dt.date, last: dt.date, most: int) -> list[dt.date]:
    """Dates from first to last, every one or, where those are more than can be judged, evenly spread."""
    days = (last - first).days
    if days >= LONGEST_DAYS:
        raise PlanError("to", last.isoformat(), "is more than a year after the first date; ask for less")
    count = max(1, min(days + 1, most))
    return [first + dt.timedelta(days=round(float(at))) for at in np.linspace(0, days, count)]


class EveningSearch:
    """A search over evenings: spots from a few of them, each tried on all. Iterate `run`, then `result`."""

    def __init__(self, plan: Plan, wishes: Wishes, first: dt.date, last: dt.date) -> None:
        self.wishes = wishes
        most = max(2, wishes.reviews * A_REVIEW_IN_SEARCH // MOST_SPOTS)
        self.without: list[dt.date] = []
        self.evenings: dict[dt.date, Scout] = {}
        for date in spread_dates(first, last, most):
            try:
                self.evenings[date] = Scout(on_date(plan, date), wishes)
            except PlanError as error:
                if error.path != "shoot.anchor":
                    raise
                self.without.append(date)
        if not self.evenings:
            raise PlanError("from", first.isoformat(), "begins a span without such an event on any evening")
        self.table: dict[tuple[dt.date, Shot], ReviewedShot] = {}
        self.shots: list[Shot] = []
        self.searching: Scout | None = None  # while places are searched

    def run(self) -> Iterator[Progress]:
        """Search on a few evenings, then try what was found on all of them."""
        days = list(self.evenings)
        searched = [days[row] for row in sorted({0, len(days) // 2, len(days) - 1})][:SEARCHED_EVENINGS]
        for date in searched:
            scout = self.searching = self.evenings[date]
            scout.wishes = attrs.evolve(
                self.wishes, reviews=max(6, self.wishes.reviews // len(searched)), top=MOST_SPOTS
            )
            yield from (now for now in scout.run() if now.stage != "done")
        ranked = sorted(
            (reviewed for date in searched for reviewed in self.evenings[date].finds()),
            key=lambda reviewed: -steady(reviewed.score.total, 1),
        )
        for reviewed in ranked:
            if len(self.shots) < MOST_SPOTS and all(_apart(reviewed.shot, other) for other in self.shots):
                self.shots.append(reviewed.shot)
        self.searching = None
        total = len(days) * len(self.shots)
        for date in days:
            for shot in self.shots:
                self.table[date, shot] = self.evenings[date].look(shot)
                yield Progress(stage="evenings", done=len(self.table), total=total)

    def result(self) -> Evenings:
        """The table, of the evenings that were tried so far."""
        dates = [date for date in self.evenings if all((date, shot) in self.table for shot in self.shots)]
        points = np.full((len(dates), len(self.shots)), np.nan)
        for row, date in enumerate(dates):
            for column, shot in enumerate(self.shots):
                reviewed = self.table[date, shot]
                if not reviewed.stops:
                    points[row, column] = reviewed.score.total
        kept = [column for column in range(len(self.shots)) if not np.isnan(points[:, column]).all()]
        order = sorted(kept, key=lambda column: -steady(np.nanmax(points[:, column]), 1))
        spots = []
        for column in order:
            date = dates[int(np.nanargmax(points[:, column]))]
            spots.append(describe(self.evenings[date], self.table[date, self.shots[column]]))
        first = next(iter(self.evenings.values()))
        return Evenings(
            title=first.plan.title,
            dates=tuple(dates),
            finds=tuple(told_apart(spots)),
            points=points[:, order],
            without=tuple(self.without),
            scout=first,
            planned_score=round(first.planned_score(), 1),
        )


def _apart(shot: Shot, other: Shot) -> bool:
    """Whether two shots are from different spots, or differ in lens or kind of move."""
    moved = float(np.hypot(shot.place_m[0] - other.place_m[0], shot.place_m[1] - other.place_m[1]))
    return moved >= 1.0 or (shot.kind, shot.focal_length_mm) != (other.kind, other.focal_length_mm)


# ---------------------------------------------------------------- which subject, from one place

SUBJECT_REVIEWS = 4
MOST_SUBJECTS = 12


@frozen(kw_only=True, eq=False)
class Subjects:
    """The blocks that make a subject from the planned place, the best first, each with its best shot."""

    title: str
    subjects: tuple[str, ...]
    finds: tuple[Find, ...]
    planned_score: float
    scout: Scout
    remark: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "title": self.title,
            "planned_score": self.planned_score,
            "remark": self.remark,
            "finds": [
                {"rank": rank, "subject": name, **find.as_dict()}
                for rank, (name, find) in enumerate(zip(self.subjects, self.finds, strict=True), start=1)
            ],
        }

    def lines(self) -> list[str]:
        """The subjects as text."""
        said = [
            f"{one_line(self.title) or 'Untitled plan'}: which block makes the best subject from the planned "
            "place",
            f"The shot as planned: {self.planned_score:.0f}.",
        ]
        for rank, (name, find) in enumerate(zip(self.subjects, self.finds, strict=True), start=1):
            said += ["", f"{rank:>2}. {one_line(name)}: {find.name}  {find.points:.0f}", f"    {find.reason}"]
        return [*said, *(["", self.remark] if self.remark else [])]


class SubjectSearch:
    """A search over subjects from the planned place. Iterate `run`, then `result`."""

    def __init__(self, plan: Plan, wishes: Wishes) -> None:
        self.plan, self.wishes = plan, attrs.evolve(wishes, keep_place=True, area=None)
        self.names = list(could_be_subjects(plan))
        if not self.names:
            raise PlanError("blocks", len(plan.blocks), "have none with a name that could be a subject")
        self.planned = {plan.blocks[part].name for part in blocking.subject_parts(plan)}
        self.reviewed: dict[str, tuple[Scout, ReviewedShot]] = {}

    def run(self) -> Iterator[Progress]:
        """Estimate every subject, then review the best shots of the most promising."""
        promising: list[tuple[float, int, Scout, Sequence[Shot]]] = []
        for number, name in enumerate(self.names):
            scout = Scout(with_subject(self.plan, name), self.wishes)
            shots = scout.best_shots_here(SUBJECT_REVIEWS)
            if shots:
                promising.append((-shots[0][0], number, scout, [shot for _, shot in shots]))
            yield Progress(stage="moves", done=number + 1, total=len(self.names))
        promising.sort(key=lambda one: one[:2])
        chosen = promising[:MOST_SUBJECTS]
        for count, (_, number, scout, tried) in enumerate(chosen, start=1):
            for shot in tried:
                scout.look(shot)
            finds = scout.finds()
            if finds:
                self.reviewed[self.names[number]] = (scout, finds[0])
            yield Progress(stage="reviews", done=count, total=len(chosen))

    def _promise(self, item: tuple[str, tuple[Scout, ReviewedShot]]) -> tuple[float, ...]:
        """What subjects are sorted by: points as they are told; of equals the planned one, then faults and
        what shows more.
        """
        points, faults, grace = item[1][1].rank
        return round(points), item[0] not in self.planned, faults, grace

    def result(self) -> Subjects:
        """The subjects found so far, the best first."""
        order = sorted(self.reviewed.items(), key=self._promise)
        kinds = dict(reversed([(ANY_NUMBER.sub("", item[0]), item[0]) for item in order]))
        order.sort(
            key=lambda item: item[0] not in kinds.values()
        )  # of many boats the best, then other things
        listed = {name for name, _ in order[: self.wishes.top]} | self.planned  # which all are compared with
        order = sorted((item for item in order if item[0] in listed), key=self._promise)
        planned = round(shot_score(Measured(self.plan)).total, 1)
        scout = order[0][1][0] if order else Scout(with_subject(self.plan, self.names[0]), self.wishes)
        return Subjects(
            title=self.plan.title,
            subjects=tuple(name for name, _ in order),
            finds=tuple(describe(scout, reviewed) for _, (scout, reviewed) in order),
            planned_score=planned,
            scout=scout,
            remark="" if order else say("No block makes a picture from here that passes its review."),
        )


def with_subject(plan: Plan, name: str) -> Plan:
    """The plan about another block, by name, with what belongs to it; blocks that had the role subject are
    background then.
    """
    if name in {plan.blocks[part].name for part in blocking.subject_parts(plan)}:
        return plan
    composition = plan.composition or Composition()
    names = {block.name for block in plan.blocks}
    parts = {other for other in names if other == name or thing(other, names) == thing(name, names)}
    blocks = tuple(
        attrs.evolve(block, role="subject" if block.name in parts else "background")
        if (block.role == "subject") != (block.name in parts)
        else block
        for block in plan.blocks
    )
    return attrs.evolve(plan, composition=attrs.evolve(composition, subject=name), blocks=blocks)


ANY_NUMBER = re.compile(r"\s*\d+")
OF_A_NUMBER = re.compile(r"(.*\d)\s+\D+")


def thing(name: str, names: Collection[str]) -> str:
    """What a block belongs to by its name: “market roof” to “market”, “boat 5 hull” to “boat 5”."""
    wholes = [
        one for one in names if one and name.startswith(f"{one} ") and not name[len(one) :].strip().isdigit()
    ]
    if wholes:
        return min(wholes, key=len)
    numbered = OF_A_NUMBER.fullmatch(name)
    return numbered[1] if numbered else name


def could_be_subjects(plan: Plan) -> dict[str, int]:
    """The names of what could be a subject from the planned place, with the number of each one's block: of
    things made of several blocks the largest. Not what is near and put there as a foreground, nor what is too
    thin to be read; the planned subject always.
    """
    own, boxes = blocking.subject_parts(plan), blocking.bounding_boxes(plan)
    main = blocking.subject_indices(plan)[:1]
    names = {block.name for block in plan.blocks}
    eye = geometry.head_middle_m(plan)
    longest = max(plan.camera.lenses_mm or (plan.camera.focal_length_mm,))
    width = width_share_px(with_lens(plan, longest))
    frame = np.array([width, width * plan.clip.height_px / plan.clip.width_px])
    largest: dict[str, tuple[float, int]] = {}
    for number, block in enumerate(plan.blocks):
        if not block.name or block.role in ("ground", "water") or block.shape == "ridge":
            continue
        if number in own and number not in main:
            continue
        half, middle = boxes.half_m[boxes.block == number].max(axis=0), boxes.centre_m[boxes.block == number]
        away = max(float(np.linalg.norm(middle - eye, axis=1).min()) - float(np.linalg.norm(half)), 0.1)
        seen = 2.0 * np.array([min(half[0], half[1]), half[2]]) / away / frame
        near = block.role == "foreground" and away < BEHIND_M
        if number not in own and (near or (seen < READABLE[0]).any()):
            continue
        size, key = float(np.prod(half)), thing(block.name, names)
        if number in own or key not in largest or size > largest[key][0]:
            largest[key] = np.inf if number in own else size, number
    return {plan.blocks[number].name: number for _, number in largest.values()}

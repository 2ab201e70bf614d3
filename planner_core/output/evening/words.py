"""What there is to say about an evening of several shots, in sentences and as plain values."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from planner_core.evening.shots import Terms
from planner_core.fit.evening import Attempt, Clash, Evening
from planner_core.output.evening.lists import camera_loads, kept_shots, things_to_pack
from planner_core.output.evening.rows import Row, evening_rows, local, metres_text
from planner_core.plan.text import one_line
from planner_core.review.words.in_short import in_short
from planner_core.words.dates import day_words
from planner_core.words.durations import duration_text, minutes_text
from planner_core.words.language import say

Name = Callable[[str], str]

TRIED = {
    "start-later": "Starting later",
    "leave-balance": "Starting earlier or later",
    "swap-order": "Another order",
    "shorter-clip": "A shorter clip",
    "another-person": "One more person",
    "drop": "Leaving out",
}


def heading(evening: Evening) -> str:
    """What the evening is called: its places, or the first of many."""
    count = len(evening.shots)
    return f"{count} shots in one evening" if count > 1 else "One shot in an evening"


def day_text(evening: Evening) -> str:
    """The day that the first of the shots begins on."""
    return day_words(local(evening, min(evening.planned_s)).date(), year=True, weekday=True)


def terms_text(terms: Terms) -> str:
    """What walks and starts were worked out with."""
    people = "1 person" if terms.people == 1 else f"{terms.people} people"
    day = round(100.0 * (0.5 + terms.balance))
    return (
        f"{people}, walking at {terms.pace_m_s * 3.6:.3g} km/h on ways {terms.detour:g} times as long as the "
        f"straight line. Day and night may become as uneven as {day}:{100 - day}; a shot without a light "
        f"event may start {duration_text(terms.shift_s)} earlier or later. Packing up takes "
        f"{duration_text(terms.pack_s)} a shot."
    )


def row_text(evening: Evening, row: Row) -> str:
    """A line of the timetable."""
    what = row.label
    if row.shot and row.kind not in ("light", "done"):
        shot = f"{row.shot}. {one_line(evening.shot(row.shot).name)}"
        to, leave_for, at = "{what} to {shot}", "{what} for {shot}", "{what} {shot}"
        what = say({"walk": to, "leave": leave_for}.get(row.kind, at), what=what, shot=shot)
    return f"{what} ({row.note})" if row.note else what


def clock_text(evening: Evening, row: Row) -> str:
    """18:42, or 18:42–18:50 where it takes time."""
    first = f"{local(evening, row.begin_s):%H:%M}"
    last = f"{local(evening, row.end_s):%H:%M}"
    return first if first == last or row.kind == "leave" else f"{first}–{last}"


def clash_text(evening: Evening, clash: Clash) -> str:
    """One clash with its minutes."""
    names = say(" and ").join(numbered(evening, n) for n in clash.shots)
    if clash.late_s is None:
        late = say("starting up to {time} later wouldn’t help", time=duration_text(6 * 3600.0))
    else:
        late = say("there is {time} too little between them", time=minutes_text(clash.late_s))
    if clash.kind == "person":
        people = evening.terms.people if len(clash.shots) > 2 else 1
        both, all_by_one, all_by_more = (
            "{names} clash as planned: one person can’t do both, {late}.",
            "{names} clash as planned: one person can’t do them all, {late}.",
            "{names} clash as planned: {people} people can’t do them all, {late}.",
        )
        template = both if len(clash.shots) == 2 else all_by_one if people == 1 else all_by_more
        return say(template, names=names, people=people, late=late)
    rig, camera = "the rig “{name}”", "the camera “{name}”"
    gear = say(" and ").join(
        say(rig if kind == "rig" else camera, name=one_line(name)) for kind, name in clash.gear
    )
    return say("{names} clash as planned: both need {gear}, and {late}.", names=names, gear=gear, late=late)


def numbered(evening: Evening, number: int) -> str:
    """A shot by its number and name."""
    return f"{number}. {one_line(evening.shot(number).name)}"


def attempt_text(evening: Evening, attempt: Attempt, named: Name | None = None) -> str:
    """What was tried, whether it helps, and what it costs; named says what a finding's code is about."""
    head = say(TRIED[attempt.kind])
    if attempt.kind == "drop":
        names = ", ".join(numbered(evening, n) for n in attempt.dropped)
        return say("{what} {names} leaves an evening without a clash.", what=head, names=names)
    if not attempt.works:
        return say("{what} alone doesn’t help.", what=head)
    moves = [
        say("shot {number} starts {moved}", number=n, moved=moved_text(shift))
        for n, shift in attempt.moved_s.items()
    ]
    cuts = [
        say(
            "shot {number} has {count} frames instead of {planned}",
            number=n,
            count=count,
            planned=evening.shot(n).plan.shoot.frames,
        )
        for n, count in attempt.frames.items()
    ]
    changes = "; ".join((*cuts, *moves)) or say("nothing has to move")
    helps = say("{what} helps: {changes}.", what=head, changes=changes)
    return f"{helps} {_cost_text(attempt.new, named)}"


def _cost_text(new: dict[int, tuple[str, ...]], named: Name | None) -> str:
    if not new:
        return say("The reviews find nothing new.")
    told = "; ".join(
        say("shot {number}: {found}", number=n, found=found_text(codes, named)) for n, codes in new.items()
    )
    return say("The reviews then find {found}.", found=told)


def found_text(codes: tuple[str, ...], named: Name | None = None) -> str:
    """What a review finds, each in a few words with its code: a rail in the picture [rail-in-frame]."""
    return ", ".join((named or _with_code)(code) for code in codes)


def _with_code(code: str) -> str:
    return f"{in_short(code)} [{code}]"


def moved_text(shift_s: float) -> str:
    """4 min later, 10 min earlier."""
    later, earlier = "{time} later", "{time} earlier"
    return say(later if shift_s > 0 else earlier, time=minutes_text(abs(shift_s)))


def rush_text(evening: Evening) -> str:
    """Whether there is time to spare before every start."""
    if evening.rush_s == 0:
        return say("There are 10 min or more to spare before every start.")
    return say(
        "Of the 10 min to spare before every start, {time} are missing in all.",
        time=minutes_text(evening.rush_s),
    )


def state_text(evening: Evening) -> str:
    """The whole in a sentence."""
    if evening.dropped:
        names = ", ".join(numbered(evening, n) for n in evening.dropped)
        return say("Not all of it can be done: leave out {names}.", names=names)
    count = sum(1 for shot in evening.shots if moved_s(evening, shot.number))
    if evening.clashes:
        one, more = "It can be done if 1 start moves.", "It can be done if {count} starts move."
        return say(one if count == 1 else more, count=count)
    if not count:
        return say("It can be done as planned.")
    one, more = (
        "There is most time to spare if 1 start moves.",
        "There is most time to spare if {count} starts move.",
    )
    return say(one if count == 1 else more, count=count)


def start_text(evening: Evening, number: int) -> str:
    """By how much a start was moved: 2. Bridge starts 4 min later than planned."""
    return say(
        "{shot} starts {moved} than planned.",
        shot=numbered(evening, number),
        moved=moved_text(moved_s(evening, number)),
    )


def new_findings_text(evening: Evening, number: int, named: Name | None = None) -> str:
    """What a moved start adds to a shot's review."""
    return say(
        "{shot}: its review then finds {found}.",
        shot=numbered(evening, number),
        found=found_text(evening.new_findings[number], named),
    )


def moved_s(evening: Evening, number: int) -> int:
    """By how much a shot's start was moved, seconds, to the whole minute that it was."""
    return round((evening.shot(number).start_s - evening.planned_s[number - 1]) / 60.0) * 60


def evening_lines(evening: Evening) -> Iterator[str]:
    """Everything for the terminal."""
    yield f"{heading(evening)}, {day_text(evening)}"
    yield terms_text(evening.terms)
    yield ""
    yield state_text(evening)
    yield rush_text(evening)
    for shot in evening.shots:
        if moved_s(evening, shot.number):
            yield start_text(evening, shot.number)
    yield from (new_findings_text(evening, number) for number in evening.new_findings)
    if evening.clashes:
        yield ""
        yield from (clash_text(evening, clash) for clash in evening.clashes)
        yield from (f"  {attempt_text(evening, attempt)}" for attempt in evening.attempts)
    rows = evening_rows(evening)
    for each in evening.rounds:
        yield ""
        yield f"Person {each.person}" if len(evening.rounds) > 1 else "Timetable"
        mine = [row for row in rows if row.person in (0, each.person)]
        yield from (f"  {clock_text(evening, row):<13}{row_text(evening, row)}" for row in mine)
    yield ""
    yield "To pack"
    yield from (f"  {item.name}: {item.why}" for item in things_to_pack(evening))


def evening_dict(evening: Evening) -> dict[str, Any]:
    """The same as plain values; times are local with their offset."""
    terms = evening.terms

    def at(utc_s: float) -> str:
        return local(evening, utc_s).isoformat(timespec="seconds")

    kept = kept_shots(evening)
    return {
        "title": heading(evening),
        "date": local(evening, min(evening.planned_s)).date().isoformat(),
        "people": terms.people,
        "pace_km_h": round(terms.pace_m_s * 3.6, 6),
        "detour": terms.detour,
        "pack_s": terms.pack_s,
        "feasible": not evening.dropped,
        "rush_s": evening.rush_s,
        "drop": list(evening.dropped),
        "shots": [
            {
                "number": shot.number,
                "title": shot.name,
                "plan": shot.file,
                "rig": shot.plan.rig.name,
                "camera": shot.plan.camera.name,
                "attended": shot.plan.shoot.attended,
                "person": next((r.person for r in evening.rounds if shot.number in r.shots), None),
                "planned_start": at(evening.planned_s[shot.number - 1]),
                "start": at(shot.start_s),
                "end": at(shot.start_s + shot.runs_s),
                "moved_s": moved_s(evening, shot.number),
                "new_findings": list(evening.new_findings.get(shot.number, ())),
            }
            for shot in evening.shots
        ],
        "walks": [
            {
                "from": one.number,
                "to": other.number,
                "distance_m": evening.walk_m(one.number, other.number),
                "time_s": evening.walk_s(one.number, other.number),
            }
            for one in kept
            for other in kept
            if one.number < other.number
        ],
        "timetable": [
            {
                "kind": row.kind,
                "person": row.person or None,
                "shot": row.shot or None,
                "from": at(row.begin_s),
                "to": at(row.end_s),
                "text": row_text(evening, row),
            }
            for row in evening_rows(evening)
        ],
        "clashes": [
            {
                "kind": clash.kind,
                "shots": list(clash.shots),
                "gear": [{"kind": kind, "name": name} for kind, name in clash.gear],
                "minutes": None if clash.late_s is None else clash.late_s / 60.0,
                "text": clash_text(evening, clash),
            }
            for clash in evening.clashes
        ],
        "remedies": [
            {
                "kind": attempt.kind,
                "works": attempt.works,
                "moved_s": {str(n): shift for n, shift in attempt.moved_s.items()},
                "frames": {str(n): count for n, count in attempt.frames.items()},
                "drop": list(attempt.dropped),
                "new_findings": {str(n): list(codes) for n, codes in attempt.new.items()},
                "text": attempt_text(evening, attempt),
            }
            for attempt in evening.attempts
        ],
        "cameras": [
            {
                "camera": load.camera,
                "shots": list(load.shots),
                "frames": load.frames,
                "card_gb": load.filled_gb,
                "batteries": load.batteries,
            }
            for load in camera_loads(evening)
        ],
        "packing": [{"name": item.name, "why": item.why} for item in things_to_pack(evening)],
    }


__all__ = ["evening_dict", "evening_lines", "metres_text"]

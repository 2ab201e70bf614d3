"""The sentences about the subject, the horizon and what the slide shows."""

from __future__ import annotations

from collections.abc import Sequence

from planner_core.picture.composition import subject_text, weakest_part_text
from planner_core.picture.parallax import GOOD_PERCENT, PRACTICE_M
from planner_core.review.findings import Finding, Names, Sentences, speaks
from planner_core.review.words.phrases import measured, quoted
from planner_core.words.figures import figure, percent


def _metres(value: float) -> str:
    return f"{value:.1f} m" if value < 10.0 else f"{value:,.0f} m".replace(",", " ")


# ---------------------------------------------------------------- the plan itself


@speaks("no-blocks")
def _no_blocks(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        "The plan has no blocks, so the picture can't be judged.",
        "Add blocks for the subject, the foreground and the background.",
    )


@speaks("subject-unknown")
def _subject_unknown(finding: Finding, names: Names) -> Sentences:
    taken = " The blocks with the role subject are taken instead." if finding.fact("by_role") else ""
    return Sentences(
        f"No block is called “{finding.fact('wanted')}”, the subject.{taken}",
        otherwise="Name one of the blocks.",
    )


@speaks("no-subject")
def _no_subject(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        "The plan has no subject, so only horizon and foreground are judged.",
        f"Name a block as {names.field('composition.subject')}, or give one the role subject.",
    )


@speaks("camera-inside")
def _camera_inside(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"the camera is inside “{finding.blocks[0]}”.",
        "Move the rail, or correct the block.",
    )


# ---------------------------------------------------------------- the subject


def _subject(finding: Finding) -> str:
    return subject_text(finding.fact("subject"))


def _all_of(labels: Sequence[str]) -> str:
    return " and ".join(f"“{label}”" for label in labels)


def _carried(finding: Finding) -> str:
    """What is carried to another place: the rail, or a rig without one."""
    return "rail" if finding.fact("rail") else "tripod"


@speaks("reveal-late")
def _reveal_late(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    subject, first = _subject(finding), fact("first_frame")
    if first is None:
        message = (
            f"{subject} is never revealed; at most {percent(fact('most_shown'))} of it shows (frame "
            f"{fact('best_frame')})."
        )
    else:
        assert finding.limit is not None
        message = (
            f"{subject} shows only from frame {first} on, {percent(measured(finding))} into the move; the "
            f"plan asks for {percent(finding.limit)}, frame {fact('due_frame')}."
        )
    message += f" It is behind {_all_of(fact('behind'))}." if fact("behind") else ""
    return Sentences(message, otherwise="Start the move farther along, or plan the reveal for later.")


@speaks("reveal-early")
def _reveal_early(finding: Finding, names: Names) -> Sentences:
    shown = percent(measured(finding))
    return Sentences(
        f"{shown} of {_subject(finding)} shows from the start, so there is nothing to reveal.",
        otherwise="Start where something hides it or where it lies outside the frame.",
    )


@speaks("subject-lost")
def _subject_lost(finding: Finding, names: Names) -> Sentences:
    edge = finding.fact("edge")
    if finding.fact("leaves"):
        gone = "leaves the frame" + (f" over the {edge} edge" if edge else "")
    else:
        gone = "is outside the frame" + (f", beyond its {edge} edge" if edge else ", behind the camera")
    return Sentences(
        f"{_subject(finding)} {gone} ({percent(measured(finding))} outside).",
        otherwise=f"Turn the lens with it, or shorten the move; {names.fit('compose')} searches further.",
    )


@speaks("subject-cut")
def _subject_cut(finding: Finding, names: Names) -> Sentences:
    outside = percent(measured(finding))
    return Sentences(
        f"{_subject(finding)} is cut by the {finding.fact('edge')} edge ({outside} outside).",
        otherwise=f"A shorter lens or more distance gets it in; {names.fit('compose')} searches further.",
    )


@speaks("subject-hidden")
def _subject_hidden(finding: Finding, names: Names) -> Sentences:
    by = finding.fact("by")
    verb = "stand" if len(by) > 1 else "stands"
    clear = f"until {_all_of(by) or 'what hides it'} {verb} clear of it"
    elsewhere = f"Move the {_carried(finding)} to the side {clear}."
    return Sentences(
        f"{_subject(finding)} is {'hidden' if finding.fact('barely') else 'partly hidden'}"
        f"{' by ' + _all_of(by) if by else ''} ({percent(measured(finding))} of it at most).",
        otherwise=elsewhere if finding.level != "note" else "",
    )


@speaks("subject-large")
def _subject_large(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"{_subject(finding)} is larger than the frame, up to {measured(finding):.1f} times, so "
        "its edges aren't judged.",
        "Go farther away or use a shorter lens if all of it should show.",
    )


@speaks("weak-frame")
def _weak_frame(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"a weak picture, frame {finding.fact('worst_frame')} the weakest "
        f"({measured(finding) * 100:.0f} of 100): {weakest_part_text(finding.fact('part'))}.",
        otherwise="Reframe that part of the move, or leave it out.",
    )


@speaks("subject-merging")
def _subject_merging(finding: Finding, names: Names) -> Sentences:
    return Sentences(
        f"the outlines of {_subject(finding)} and “{finding.fact('other')}” run together; "
        "they read as one thing.",
        otherwise=f"Carry the {_carried(finding)} a little to the side, so that they stand apart or clearly "
        "overlap.",
    )


# ---------------------------------------------------------------- horizon and foreground


@speaks("horizon-middle")
def _horizon_middle(finding: Finding, names: Names) -> Sentences:
    tilt = abs(finding.fact("tilt"))
    return Sentences(
        f"the horizon runs through the middle of the frame ({percent(measured(finding))} of its height), "
        "so neither sky nor ground leads.",
        otherwise=f"Tilt about {tilt:.0f}° up for the sky, or down for the ground." if tilt >= 0.5 else "",
    )


@speaks("foreground-missing")
def _foreground_missing(finding: Finding, names: Names) -> Sentences:
    nearest = finding.fact("nearest")
    if nearest is None:
        there = "There is no block in front of the lens at the middle of the move."
    else:
        distance = _metres(finding.fact("nearest_distance"))
        there = f"The nearest thing in the picture, {quoted(nearest)}, is {distance} away."
    return Sentences(
        f"The slide of {finding.fact('travel'):.2f} m hardly shows: near and far move apart by "
        f"{measured(finding):.1f} % of the frame's width. {there}",
        _where_to_put_it(finding.fact("shows_within")),
    )


def _where_to_put_it(reach: float) -> str:
    if reach < PRACTICE_M / 2.0:
        return (
            f"Even a thing {_metres(reach)} away would only shift by {GOOD_PERCENT:.0f} % of the width: "
            "slide farther, or leave the slide out."
        )
    near = (
        f"about {_metres(PRACTICE_M)}" if reach < 1.5 * PRACTICE_M else f"{PRACTICE_M:g} to {_metres(reach)}"
    )
    return f"Bring something into the picture {near} from the camera, or leave the slide out."


@speaks("background-static")
def _background_static(finding: Finding, names: Names) -> Sentences:
    fact, shifted = finding.fact, measured(finding)
    moves = figure(shifted, 2) if shifted >= 0.01 else "under 0.01"
    what = quoted(fact("block")) if fact("block") else "the horizon"
    shift = f"{what} shifts by {moves} % of the frame's width over the whole clip"
    beyond = _metres(fact("still_beyond"))
    if fact("turns"):
        message = (
            f"Beyond {beyond} the slide adds nothing, only pan and tilt move the picture: by the slide, "
            f"{shift}."
        )
    else:
        message = f"Everything beyond {beyond} looks still while the camera slides: {shift}."
    if fact("foreground"):
        return Sentences(message, "That is fine with a foreground.")
    return Sentences(
        message,
        "" if fact("turns") else "Add a pan or tilt, or put something near in front of the lens.",
    )

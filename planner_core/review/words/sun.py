"""The sentences about the sun in the picture and the sun behind the skyline."""

from __future__ import annotations

from planner_core.review.findings import Finding, Names, Sentences, speaks

_COMES = {"horizon": "rises", "block": "comes out from behind", "edge": "comes in by"}
_GOES = {"horizon": "sets", "block": "goes behind", "edge": "leaves by"}


@speaks("sun-in-frame")
def _sun_in_frame(finding: Finding, names: Names) -> Sentences:
    assert finding.frames is not None
    fact = finding.fact
    first, last = finding.frames
    gaps = f" in {fact('count')} of them" if fact("count") < last - first + 1 else ""
    covered = "Cover the lens from the moment the sun is above" if fact("rising") else ""
    fix = (
        f"{covered or 'Keep the lens covered until the sun is below'} {fact('safe_below'):g}°, or frame it "
        "out: through "
        f"{fact('focal_length'):g} mm it can burn sensor and shutter."
        if fact("dangerous")
        else "Expect flare and a burnt-out disc; clean the front element, and never look at the sun through "
        "an optical finder."
    )
    return Sentences(
        f"the sun is in the picture{gaps}, up to {fact('highest'):.1f}° high; {coming_and_going(finding)}.",
        fix,
        clock=f"{fact('first_time')} to {fact('last_time')}",
    )


def coming_and_going(finding: Finding) -> str:
    """What sun or moon comes into the picture past, and out of it."""
    assert finding.frames is not None
    fact = finding.fact
    said = []
    if fact("comes_past") is not None:
        what = _past(fact("comes_past"), fact("comes_past_name"))
        said.append(
            f"it {_COMES[fact('comes_past')]}{what} at frame {finding.frames[0]} ({fact('first_time')})"
        )
    if fact("goes_past") is None:
        said.append("it is still there in the last frame")
    else:
        what = _past(fact("goes_past"), fact("goes_past_name"))
        said.append(
            f"it {_GOES[fact('goes_past')]}{what} at frame {finding.frames[1] + 1} ({fact('gone_time')})"
        )
    return " and ".join(said)


def _past(kind: str, name: str) -> str:
    """What it passes: nothing more to say of the horizon, a block's name, or an edge of the picture."""
    return {"horizon": "", "block": f" “{name}”", "edge": f" the {name} edge"}[kind]


@speaks("sun-hidden")
def _sun_hidden(finding: Finding, names: Names) -> Sentences:
    fact = finding.fact
    evening = fact("event") == "sunset"
    place = "the camera" if fact("subject") is None else f"“{fact('subject')}”"
    event, at, minutes = fact("event"), fact("time"), round(fact("early" if evening else "late"))
    told = (
        f"The sun leaves {place} at {at}, {minutes} minutes before sunset"
        if evening
        else f"The sun reaches {place} at {at}, {minutes} minutes after sunrise"
    )
    return Sentences(
        f"{told} ({fact('event_time')}): “{fact('hider')}” stands in the way.",
        f"Count on direct light {'until' if evening else 'from'} {at}{' on' * (not evening)}, whatever "
        f"{event} says: the skyline takes the rest, however the shoot is timed.",
    )

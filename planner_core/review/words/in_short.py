"""What each finding is about, in a few words, for sentences that speak of another finding."""

from __future__ import annotations

_IN_SHORT = {
    "axis-range": "an axis outside its range",
    "axis-speed": "an axis too slow for its moves",
    "battery-short": "an empty battery",
    "camera-inside": "a camera inside a block",
    "card-space": "more than a card holds",
    "clip-enlarged": "a clip of too few pixels",
    "day-night-balance": "day and night out of balance",
    "exposure-long": "frames too bright",
    "exposure-short": "frames too dark",
    "focus-depth": "something out of focus",
    "foreground-missing": "a slide that doesn't show",
    "ground-ends": "ground that ends in the picture",
    "head-level": "a head on a sloping rail",
    "highlights-lost": "burnt-out highlights",
    "interval-too-short": "an interval too short",
    "mains-flicker": "lamps that flicker",
    "moon-in-frame": "a moon that drifts in the exposure",
    "motion-blur": "blur by the move",
    "move-midpoint": "a move whose middle misses the event",
    "photo-differs": "a photograph that shows the subject elsewhere",
    "photo-pin-lost": "a pin on what is no longer there",
    "rail-in-frame": "the rail in the picture",
    "ramp-steep": "jumps of brightness",
    "reveal-early": "a subject that shows from the start",
    "reveal-late": "a late reveal",
    "rig-shadow": "the rig's shadow in the picture",
    "shadows-lost": "shadows without detail",
    "screen-speed": "a picture too fast to look at",
    "sign-odd": "a coordinate of the wrong sign",
    "skyline-ends": "a skyline that ends in the picture",
    "smearing": "things that smear",
    "star-trails": "stars that trail",
    "stars-soft": "stars out of focus",
    "step-coarse": "steps that show",
    "strobing": "things that jump from frame to frame",
    "subject-cut": "a subject cut by the edge",
    "subject-hidden": "a hidden subject",
    "subject-lost": "a subject outside the frame",
    "subject-merging": "outlines that run together",
    "sun-hidden": "a sun hidden early",
    "sun-in-frame": "the sun in a long lens",
    "travel-whole": "a slide past nothing near",
    "weak-frame": "a weak picture",
    "wind-shake": "shake by the wind",
}


def in_short(code: str) -> str:
    """A finding's code in words: `day-night-balance` is 'day and night out of balance'."""
    return _IN_SHORT.get(code, code.replace("-", " "))

"""Labels and tooltips of the plan's options."""

from planner_core.evening.timetable import EVENT_WORDS
from planner_core.plan.model import METERS, RAMP_ORDERS

EVENT_CHOICES = {
    name: (EVENT_WORDS[name], tip)
    for name, tip in {
        "sunrise": "The sun's upper edge rises above a level horizon",
        "sunset": "The sun's upper edge sinks below a level horizon",
        "civil_dawn": "The sun is 6° below the horizon and rising",
        "civil_dusk": "The sun is 6° below the horizon and sinking: the end of civil twilight",
        "nautical_dawn": "The sun is 12° below the horizon and rising",
        "nautical_dusk": "The sun is 12° below the horizon and sinking",
        "astronomical_dawn": "The sun is 18° below the horizon and rising: the night ends",
        "astronomical_dusk": "The sun is 18° below the horizon and sinking: the night begins",
        "moonrise": "The moon's upper edge rises above a level horizon",
        "moonset": "The moon's upper edge sinks below a level horizon",
        "solar_noon": "The sun stands highest",
    }.items()
}
DRIVE_CHOICES = {
    "shoot-move-shoot": (
        "Shoot, move, shoot",
        "The axes rest while the shutter is open: no blur from the move",
    ),
    "continuous": ("Continuous", "The axes keep moving, even while the shutter is open"),
}
STYLE_CHOICES = {
    "hold": ("Hold", "The picture stays composed from the first frame to the last"),
    "reveal": ("Reveal", "The subject is hidden at first and comes into the picture during the move"),
}
LIGHT_CHOICES = {
    "any": ("Any", "Light from any side will do"),
    "front": ("Front", "The light comes from behind the camera"),
    "side": ("Side", "The light comes from the side"),
    "back": ("Back", "The light comes from behind the subject"),
}
DISC_CHOICES = {
    "any": ("Any", "In the picture or not"),
    "in": ("In", "In the picture at some point"),
    "out": ("Out", "Never in the picture"),
}
ROLE_CHOICES = {
    "subject": ("Subject", "What the picture is about"),
    "foreground": ("Foreground", "Near things that slide past and give the move its depth"),
    "background": ("Background", "What stands behind the subject"),
    "ground": ("Ground", "Ground to stand and walk on"),
    "water": ("Water", "A level sheet of water"),
}
RAMP_CHOICES = {
    "shutter-first": ("Shutter First", "As it gets dark, the shutter time grows first, then the ISO"),
    "iso-first": ("ISO First", "As it gets dark, the ISO rises first, then the shutter time"),
}
assert set(RAMP_CHOICES) == set(RAMP_ORDERS)
METER_CHOICES = {
    "ground": ("Ground", "Incident light on level ground, as a hand-held meter reads it"),
    "picture": ("Picture", "The whole frame, with its brightest parts counting for more"),
    "sky": ("Sky", "The brightest part of the sky in the frame, kept just under white"),
    "subject": ("Subject", "The side of the subject that faces the camera"),
}
assert set(METER_CHOICES) == set(METERS)
TIMING_CHOICES = (
    (
        "ANCHOR",
        "Light Event",
        "A sunset, moonrise or other event falls on a place in the move",
        "LIGHT_SUN",
        0,
    ),
    ("START", "Start Time", "The first frame is taken at a local time", "TIME", 1),
)
MAINS_OPTIONS = (None, 50.0, 60.0, 0.0)
MAINS_CHOICES = (
    ("COUNTRY", "By Country", "The mains frequency of the country that the site lies in", 0),
    ("HZ50", "50 Hz", "Lamps pulse 100 times a second", 1),
    ("HZ60", "60 Hz", "Lamps pulse 120 times a second", 2),
    ("NONE", "No Flicker", "The lamps here don't flicker", 3),
)
MOVES_OPTIONS = (None, "water", "people", "traffic", "nothing")
MOVES_CHOICES = (
    ("ROLE", "By Role", "Water moves, everything else stands still", 0),
    ("WATER", "Water", "Waves", 1),
    ("PEOPLE", "People", "People walk about on it", 2),
    ("TRAFFIC", "Traffic", "Cars drive on it", 3),
    ("NOTHING", "Nothing", "Nothing moves here", 4),
)
LIGHTS_OPTIONS = (None, True, False)
LIGHTS_CHOICES = (
    ("ROLE", "By Role", "Windows and lamps of the subject and background come on as it gets dark", 0),
    ("ON", "On at Dusk", "Windows or lamps of this block come on as it gets dark", 1),
    ("OFF", "Dark", "This block stays dark", 2),
)

"""What isn't in the plan: what the view shows, how the clip is drawn, and the plan's file."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

from typing import Any

from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty, StringProperty

from ...render.jobs import MOST_JOBS
from ...state import live, shots
from .fields import NOT_KEYED


def _other_day(owner: Any, _context: Any) -> None:
    live.look_at_day(owner.id_data)


def _alike(name: str) -> Any:
    """What happens when one of the evening's settings is changed in a scene: the others get it too."""
    return lambda owner, _context: shots.keep_alike(owner.id_data, name)


class DisplayFields:
    """What the view and the sidebar show."""

    block_where: EnumProperty(
        name="Where",
        description="How a new block is positioned",
        items=[
            (
                "MAP",
                "Bearing",
                "Measured on a map, by bearing and distance from the start of the rail",
                "ORIENTATION_GIMBAL",
                0,
            ),
            ("CURSOR", "3D cursor", "Standing on the 3D cursor", "PIVOT_CURSOR", 1),
        ],
        options=NOT_KEYED,
    )
    # what the view shows
    show_path: BoolProperty(
        name="Path",
        description="Show the path of the lens and its frames in the view",
        default=True,
        options=NOT_KEYED,
    )
    show_sky: BoolProperty(
        name="Sky",
        description="Show the paths of sun and moon across the sky, for the day and for the shoot",
        default=True,
        options=NOT_KEYED,
    )
    show_readout: BoolProperty(
        name="Readout",
        description="Show time, sun, moon, light and camera settings of the frame in the view",
        default=True,
        options=NOT_KEYED,
    )
    show_phases: BoolProperty(
        name="Day and Night",
        description="Shade day, twilight and night in the timeline",
        default=True,
        options=NOT_KEYED,
    )

    show_log: BoolProperty(
        name="As Shot",
        description="Show how the frames were exposed, beside the plan, in the view and in the timeline, "
        "where a log is open",
        default=True,
        options=NOT_KEYED,
    )
    look_days: IntProperty(
        name="Other Day",
        description="Try out the light of another day, a number of days after the plan's; negative for "
        "before. "
        "The plan stays as it is",
        default=0,
        min=-366,
        max=366,
        soft_min=-90,
        soft_max=90,
        update=_other_day,
        options=NOT_KEYED,
    )

    # in the picture
    show_thirds: BoolProperty(
        name="Thirds", description="Divide the picture by thirds", default=False, options=NOT_KEYED
    )
    show_sensor: BoolProperty(
        name="Whole Sensor",
        description="Show how much more the sensor records than the delivered clip shows",
        default=False,
        options=NOT_KEYED,
    )
    show_subject: BoolProperty(
        name="Subject",
        description="Show a box around the subject, as the review sees it",
        default=False,
        options=NOT_KEYED,
    )
    show_ways: BoolProperty(
        name="Sun and Moon",
        description="Show where sun and moon stand in the picture, and where they move in later frames",
        default=False,
        options=NOT_KEYED,
    )
    show_limits: BoolProperty(
        name="White and Black",
        description="Show stripes over what is blown out or lost in black, "
        "in an Evening View drawn in plain colours",
        default=False,
        options=NOT_KEYED,
    )
    show_weakest: BoolProperty(
        name="Weakest Frame",
        description="Mark the weakest frame of the move with a coloured border",
        default=True,
        options=NOT_KEYED,
    )


class ScoutFields:
    """What a search for a shot looks through, and which find is shown."""

    scout_what: EnumProperty(
        name="Search",
        description="What is searched for",
        items=[
            ("SPOTS", "Spots", "Where to stand on the planned evening"),
            ("EVENINGS", "Evenings", "Of several evenings the best for each spot, and each one's best spot"),
            ("SUBJECTS", "Subjects", "From the planned place, the block that makes the best subject"),
        ],
        options=NOT_KEYED,
    )
    scout_from: StringProperty(
        name="From",
        description="First evening as year-month-day. Leave it empty for the plan's",
        options=NOT_KEYED,
    )
    scout_to: StringProperty(
        name="To",
        description="Last evening as year-month-day. Leave it empty for two weeks after the plan's",
        options=NOT_KEYED,
    )
    scout_reach: FloatProperty(
        name="Within",
        description="How far from the rail's start places are searched",
        default=30.0,
        min=2.0,
        max=2000.0,
        soft_max=200.0,
        subtype="DISTANCE",
        options=NOT_KEYED,
    )
    scout_reviews: IntProperty(
        name="Reviews",
        description="How many shots are reviewed in full: more take longer and may find a better one",
        default=120,
        min=5,
        max=5000,
        options=NOT_KEYED,
    )
    scout_find: IntProperty(
        name="Find", description="The find that is shown", default=0, min=0, options=NOT_KEYED
    )


class EveningFields:
    """Which scenes are shots of the evening, and how that is planned: the same in all of them."""

    in_evening: BoolProperty(
        name="In the Evening",
        description="Whether this shot is one of the evening's",
        default=True,
        options=NOT_KEYED,
    )
    evening_people: IntProperty(
        name="People",
        description="How many people do the work",
        default=1,
        min=1,
        max=6,
        update=_alike("evening_people"),
        options=NOT_KEYED,
    )
    evening_pace: FloatProperty(
        name="Pace (km/h)",
        description="How fast one walks from shot to shot with the gear, in kilometres an hour",
        default=4.0,
        min=0.5,
        max=12.0,
        precision=1,
        update=_alike("evening_pace"),
        options=NOT_KEYED,
    )
    evening_detour: FloatProperty(
        name="Detour",
        description="Length of the paths, as a multiple of the straight line",
        default=1.3,
        min=1.0,
        max=10.0,
        precision=2,
        update=_alike("evening_detour"),
        options=NOT_KEYED,
    )


class PreviewFields:
    """How the draft clip is drawn."""

    look: EnumProperty(
        name="Look",
        description="How the clip is drawn",
        items=[
            (
                "FAST",
                "Fast",
                "Plain blocks in the direction and brightness of the light, to judge timing and composition",
            ),
            ("LIT", "Exposed", "Realistic light and shadow, exposed as planned"),
        ],
        options=NOT_KEYED,
    )
    clip_px: IntProperty(
        name="Width",
        description="Width of the draft clip",
        default=640,
        min=64,
        max=7680,
        step=16,
        subtype="PIXEL",
        options=NOT_KEYED,
    )
    every: IntProperty(
        name="Every Nth Frame",
        description="Render only every nth frame, for a quick look",
        default=1,
        min=1,
        soft_max=24,
        options=NOT_KEYED,
    )
    jobs: IntProperty(
        name="Processes",
        description="How many processes draw at once; 0 for as many as help on this computer",
        default=0,
        min=0,
        max=MOST_JOBS,
        options=NOT_KEYED,
    )
    use_range: BoolProperty(
        name="Frame Range", description="Render only some of the frames", default=False, options=NOT_KEYED
    )
    first_frame: IntProperty(
        name="First", description="First frame of the draft clip", default=1, min=1, options=NOT_KEYED
    )
    last_frame: IntProperty(
        name="Last", description="Last frame of the draft clip", default=24, min=1, options=NOT_KEYED
    )
    clip_file: StringProperty(
        name="Clip",
        description="Where to save the clip. Leave it empty to save beside the plan file or the .blend",
        subtype="FILE_PATH",
        options=NOT_KEYED,
    )

    # for the client
    title_card: BoolProperty(
        name="Title Card",
        description="Start the clip with a card that shows title, reason, place and date",
        default=False,
        options=NOT_KEYED,
    )
    burn_in: BoolProperty(
        name="Burnt-In Text",
        description="Write time, frame number, sun and exposure into every picture of the clip",
        default=False,
        options=NOT_KEYED,
    )
    contact_sheet: BoolProperty(
        name="Contact Sheet",
        description="Save a picture with the most important frames beside the clip",
        default=False,
        options=NOT_KEYED,
    )
    beside_file: StringProperty(
        name="Second Plan",
        description="Another plan file, shown to the right of this one in the clip. "
        "It must have as many frames",
        subtype="FILE_PATH",
        options=NOT_KEYED,
    )


class FileFields:
    """The plan's file."""

    file: StringProperty(
        name="File",
        description="The file from which the plan was opened, or to which it was saved",
        subtype="FILE_PATH",
        options=NOT_KEYED,
    )
    file_digest: StringProperty(options={"HIDDEN"})
    saved_digest: StringProperty(options={"HIDDEN"})

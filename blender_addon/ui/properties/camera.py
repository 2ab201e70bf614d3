"""Camera, lens and clip."""
# Blender reads the annotations of its classes as they are, so none may be turned into text here.
# mypy: disable-error-code="valid-type,func-returns-value"

from .fields import length, millimetres, number, numbers, optional_number, text, whole


class CameraFields:
    """The camera, and the clip made of its pictures."""

    camera_name: text(
        "camera.name",
        "Camera Name",
        "Tells cameras apart where several shots share an evening: none can be in two places at once",
    )
    sensor_width: millimetres(
        "camera.sensor_width_mm", "Sensor Width", "Width of the whole sensor", high=100.0
    )
    sensor_height: millimetres("camera.sensor_height_mm", "Height", "Height of the whole sensor", high=100.0)
    image_width: whole(
        "camera.image_width_px",
        "Picture Width",
        "Width of the pictures that the camera takes",
        low=16,
        high=60000,
        subtype="PIXEL",
    )
    image_height: whole(
        "camera.image_height_px",
        "Height",
        "Height of the pictures that the camera takes",
        low=16,
        high=60000,
        subtype="PIXEL",
    )
    focal_length: millimetres(
        "camera.focal_length_mm", "Focal Length", "Focal length engraved on the lens", high=1000.0
    )
    focus: length(
        "camera.focus_distance_m", "Focus", "Distance at which the lens is focused", low=0.02, high=1000.0
    )
    has_raw_size: optional_number(
        "camera.raw_file_mb",
        30.0,
        "File Size Known",
        "Give the size of a raw file, to see how much the card has to hold",
    )
    raw_size: number(
        "camera.raw_file_mb",
        "Raw File (MB)",
        "Size of one picture on the card, in megabytes",
        low=0.1,
        high=500.0,
        fresh=30.0,
        precision=1,
    )
    has_card: optional_number(
        "camera.card_gb",
        64.0,
        "Card Size Known",
        "Give what the card holds, to see at which frame it is full",
    )
    card: number(
        "camera.card_gb",
        "Card (GB)",
        "What the card holds, in gigabytes",
        low=0.5,
        high=8000.0,
        fresh=64.0,
        precision=0,
    )
    has_battery: optional_number(
        "camera.battery_frames",
        400,
        "Battery Known",
        "Give how many frames a battery lasts for, to see when it is empty",
    )
    battery: whole(
        "camera.battery_frames",
        "Battery (Frames)",
        "How many frames of such a shoot a charged battery lasts for",
        low=1,
        high=100_000,
    )
    lenses: numbers(
        "camera.lenses_mm",
        "Lenses",
        "Focal lengths in your bag in millimetres, such as 24, 35, 85. The search for a shot chooses "
        "among them",
    )
    headroom: number(
        "camera.headroom_stops",
        "Headroom (stops)",
        "How far above middle grey a raw file keeps detail in the highlights, in stops",
        low=0.0,
        high=8.0,
        step=0.5,
        precision=1,
    )
    sensor_range: number(
        "camera.range_stops",
        "Range (stops)",
        "How many stops lie between white and black in a raw file",
        low=4.0,
        high=20.0,
        step=0.5,
        precision=1,
    )
    clip_width: whole(
        "clip.width_px", "Clip Width", "Width of the delivered clip", low=16, high=16384, subtype="PIXEL"
    )
    clip_height: whole(
        "clip.height_px", "Height", "Height of the delivered clip", low=16, high=16384, subtype="PIXEL"
    )
    fps: number(
        "clip.fps", "Frames per Second", "How fast the clip plays", low=1.0, high=240.0, step=1.0, precision=3
    )

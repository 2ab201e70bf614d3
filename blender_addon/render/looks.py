"""The two looks of a draft clip, set up for an engine: fast, for timing and composition; lit, for the
plan's light.
"""

from __future__ import annotations

from typing import Any

import bpy

from planner_core.frames import FrameTable

from .. import compat
from ..scene import blocking, filters, lighting, nightlights, parts, starfield
from . import engines, viewtransform
from .fastlook import FastLook, Painted
from .request import FAST, LIT, LOOKS

__all__ = ["FAST", "LIT", "LOOKS", "Look", "settings_key"]

# of a clip's frames, and of a still, which is looked at for longer
CYCLES_SAMPLES, CYCLES_STILL_SAMPLES = 2, 16
EEVEE_SAMPLES, EEVEE_STILL_SAMPLES = 16, 64
WORKBENCH_SAMPLES, WORKBENCH_STILL_SAMPLES = "FXAA", "8"
GRAINY = 4  # so many times the samples, where Cycles has no denoiser


class Look:
    """A drawn scene set up for a look and an engine, for a clip's frames or finer, for a still.

    show(number) makes it ready for a frame, counted from 1. A scene that isn't thrown away afterwards keeps
    the blocks as they are.
    """

    def __init__(
        self,
        scene: bpy.types.Scene,
        frames: FrameTable,
        engine: engines.Engine,
        *,
        still: bool = False,
        thrown_away: bool = True,
    ) -> None:
        self.scene, self.frames = scene, frames
        scene.render.engine = engine.name  # type: ignore[assignment]
        viewtransform.choose_view(scene)
        panes = nightlights.draw_windows(scene, frames)
        self.fast = FastLook(scene, frames, panes) if engine.name == compat.WORKBENCH else None
        if engine.name == compat.WORKBENCH:
            display: Any = scene.display
            display.render_aa = WORKBENCH_STILL_SAMPLES if still else WORKBENCH_SAMPLES
        elif engine.name == compat.CYCLES:
            _set_cycles(scene, CYCLES_STILL_SAMPLES if still else CYCLES_SAMPLES)
        else:
            set_eevee(scene, EEVEE_STILL_SAMPLES if still else EEVEE_SAMPLES)
        self.stars_px = 0
        self.painted: Painted | None = None
        if self.fast is None:
            around = nightlights.draw_pools(scene, frames)
            starfield.draw_stars(scene, frames)
            if filters.draw_graduated(scene, frames.plan) is not None:
                cycles: Any = scene.cycles  # type: ignore[attr-defined]
                cycles.transparent_max_bounces += 1
            if engine.name == compat.EEVEE:
                lighting.light_for_eevee(scene, frames, around)
                if thrown_away:
                    _cast_shadows(scene)
                    self.painted = Painted(scene, frames)
        _set_motion_blur(scene, frames, engine)

    @property
    def goes_by_keys(self) -> bool:
        """Whether Blender goes by the scene's keys, which it does of the window's scene alone; otherwise all
        that changes is put in frame by frame.
        """
        return self.fast is None

    def show(self, number: int) -> None:
        """Go to a frame, counted from 1."""
        if self.fast is None:
            self.size_stars()
            self.scene.frame_set(number)
        self.prepare(number)

    def size_stars(self) -> None:
        """Draw stars as large as the picture's pixels let them be."""
        width = self.scene.render.resolution_x
        if self.fast is None and width != self.stars_px:
            starfield.draw_stars(self.scene, self.frames, float(width))
            self.stars_px = width

    def clear(self) -> None:
        """Take out of the file what isn't the scene's."""
        if self.fast is not None:
            self.fast.clear()

    def foresee(self, number: int) -> None:
        """Get ready for a frame that comes after the one being drawn."""
        coloured = self.fast or self.painted
        if coloured is not None:
            coloured.foresee(number)

    def prepare(self, number: int) -> None:
        """Put in what the scene's keys don't, where Blender goes to a frame, counted from 1."""
        if self.fast is not None:
            self.fast.show(number)
            return
        if self.painted is not None:
            self.painted.show(number)
        if self.scene.render.use_motion_blur and self.frames.ramp is not None:
            open_fraction = self.frames.ramp.shutter_s[number - 1] / self.frames.plan.shoot.interval_s
            self.scene.render.motion_blur_shutter = max(0.01, min(1.0, float(open_fraction)))


def takes_light(engine: engines.Engine) -> bool:
    """Whether an engine takes the scene's lamps and sky: the fast look has its own."""
    return engine.name != compat.WORKBENCH


def settings_key(look: str, engine: engines.Engine, *, still: bool = False) -> list[Any]:
    """What a picture depends on besides the plan and the code that draws."""
    return [look, engine.name, bpy.app.version_string, still]


def _set_cycles(scene: bpy.types.Scene, samples: int) -> None:
    """Few samples, the same ones on every frame, and the denoiser: grain that doesn't crawl."""
    cycles: Any = scene.cycles  # type: ignore[attr-defined]
    cycles.device = "CPU"
    cycles.samples = samples
    cycles.use_adaptive_sampling = False
    cycles.seed, cycles.use_animated_seed = 0, False
    cycles.light_sampling_threshold = 0.01
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = 3, 1, 2
    cycles.transmission_bounces = cycles.volume_bounces = 0
    cycles.transparent_max_bounces = 2
    cycles.caustics_reflective = cycles.caustics_refractive = False
    scene.render.use_persistent_data = True
    cycles.use_denoising = True
    try:
        cycles.denoiser = "OPENIMAGEDENOISE"
    except TypeError:  # some builds of Blender come without it: then with some grain
        cycles.use_denoising, cycles.samples = False, GRAINY * samples
        return
    # a clean guide keeps thin masts whole, and costs less than the samples that would
    cycles.denoising_input_passes = "RGB_ALBEDO"
    cycles.denoising_prefilter, cycles.denoising_quality = "ACCURATE", "FAST"


def set_eevee(scene: bpy.types.Scene, samples: int = EEVEE_SAMPLES) -> None:
    """EEVEE for a place that reaches to the horizon, with so many samples for a rendered picture."""
    eevee: Any = scene.eevee
    eevee.taa_render_samples = samples
    eevee.use_shadows = True
    eevee.shadow_resolution_scale = 0.5  # a place up to the horizon would fill the memory for shadows
    eevee.use_raytracing = False  # light from all around and water are worked out beforehand


def _cast_shadows(scene: bpy.types.Scene) -> None:
    """Only of what stands near: ground to the horizon and water throw none, and land far off hides the sun
    as a whole.
    """
    for thing in scene.collection.all_objects:
        is_water, is_ground = thing.get(blocking.ROLE_KEY) == "water", parts.part_of(thing) == "ground"
        if thing.type == "MESH" and (is_water or is_ground or thing.get(blocking.SHAPE_KEY) == "ridge"):
            thing.visible_shadow = False


def _set_motion_blur(scene: bpy.types.Scene, frames: FrameTable, engine: engines.Engine) -> None:
    """A rig that never stops moves while the shutter is open, from the frame's own instant on."""
    moving = frames.plan.move.drive == "continuous" and frames.ramp is not None
    scene.render.use_motion_blur = moving and engine.name != compat.WORKBENCH
    scene.render.motion_blur_position = "START"

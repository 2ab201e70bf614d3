"""Draws the evening view's picture with the graphics library: colours, shadows, the clip's view transform."""

from __future__ import annotations

from typing import Any

import gpu as blender_gpu
import numpy as np
from mathutils import Matrix

from ..render import viewtransform
from ..render.evening import EveningPicture, FramePicture

gpu: Any = blender_gpu  # the stubs know little of it

SHADOW_PX = 1024
SHADOW_BIAS = 0.002  # of what is seen from the sun, so that nothing shades itself
MIDDLE_GREY, NO_LIMITS = 0.18, (-1.0, 1e9)
NOWHERE = 2.0  # a place seen from the sun that no shadow falls on

TRANSFORM = f"""
vec3 table_at(ivec3 at) {{ return texelFetch(view_table, at, 0).rgb; }}
vec3 displayed(vec3 linear)
{{
  vec3 stops = log2(max(linear, vec3(exp2({viewtransform.DARKEST_STOPS:.1f}))));
  vec3 place = (stops - {viewtransform.DARKEST_STOPS:.1f})
    * {(viewtransform.STEPS - 1) / (viewtransform.BRIGHTEST_STOPS - viewtransform.DARKEST_STOPS):.8f};
  place = clamp(place, vec3(0.0), vec3({viewtransform.STEPS - 1.001:.3f}));
  ivec3 low = ivec3(place);
  vec3 part = place - vec3(low);
  vec3 found = vec3(0.0);
  for (int corner = 0; corner < 8; corner++) {{
    ivec3 side = ivec3(corner & 1, (corner >> 1) & 1, (corner >> 2) & 1);
    vec3 weight = mix(1.0 - part, part, vec3(side));
    found += weight.x * weight.y * weight.z * table_at(low + side);
  }}
  return found;
}}
"""

VERTEX = (
    TRANSFORM
    + """
void main()
{
  gl_Position = to_picture * vec4(place, 1.0);
  shown = displayed(lit);
  shown_shaded = displayed(shaded);
  from_sun = in_sun;
  brightness = dot(lit, vec3(0.2126, 0.7152, 0.0722));
  brightness_shaded = dot(shaded, vec3(0.2126, 0.7152, 0.0722));
}
"""
)

FRAGMENT = f"""
float in_shadow()
{{
  vec2 at = from_sun.xy * {SHADOW_PX:.1f} - 0.5;
  if (any(lessThan(from_sun, vec3(0.0))) || any(greaterThan(from_sun, vec3(1.0)))) {{
    return 0.0;
  }}
  ivec2 low = ivec2(floor(at));
  vec2 part = at - vec2(low);
  float found = 0.0;
  for (int corner = 0; corner < 4; corner++) {{
    ivec2 side = ivec2(corner & 1, corner >> 1);
    vec2 weight = mix(1.0 - part, part, vec2(side));
    ivec2 texel = clamp(low + side, ivec2(0), ivec2({SHADOW_PX - 1}));
    float near = texelFetch(sun_depth, texel, 0).r;
    found += weight.x * weight.y * (near < from_sun.z - {SHADOW_BIAS:.4f} ? 1.0 : 0.0);
  }}
  return found;
}}
void main()
{{
  float shadow = in_shadow();
  picture = vec4(mix(shown, shown_shaded, shadow), 1.0);
  float level = mix(brightness, brightness_shaded, shadow);
  bool striped = mod(gl_FragCoord.x + gl_FragCoord.y, 10.0) < 3.0;
  if (striped && level > limits.y) {{
    picture.rgb = vec3(0.95, 0.25, 0.20);
  }}
  if (striped && level < limits.x) {{
    picture.rgb = vec3(0.25, 0.45, 0.95);
  }}
}}
"""

SUN_VERTEX = """
void main()
{
  gl_Position = vec4(in_sun * 2.0 - 1.0, 1.0);
  depth = in_sun.z;
}
"""
SUN_FRAGMENT = """
void main()
{
  nearest = vec4(depth, 0.0, 0.0, 1.0);
}
"""


def _picture_shader() -> Any:
    between: Any = gpu.types.GPUStageInterfaceInfo("duskrail_evening")
    between.smooth("VEC3", "shown")
    between.smooth("VEC3", "shown_shaded")
    between.smooth("VEC3", "from_sun")
    between.smooth("FLOAT", "brightness")
    between.smooth("FLOAT", "brightness_shaded")
    info: Any = gpu.types.GPUShaderCreateInfo()
    info.push_constant("MAT4", "to_picture")
    info.push_constant("VEC2", "limits")
    info.sampler(0, "FLOAT_3D", "view_table")
    info.sampler(1, "FLOAT_2D", "sun_depth")
    for number, name in enumerate(("place", "lit", "shaded", "in_sun")):
        info.vertex_in(number, "VEC3", name)
    info.vertex_out(between)
    info.fragment_out(0, "VEC4", "picture")
    info.vertex_source(VERTEX)
    info.fragment_source(FRAGMENT)
    return gpu.shader.create_from_info(info)


def _sun_shader() -> Any:
    between: Any = gpu.types.GPUStageInterfaceInfo("duskrail_evening_sun")
    between.smooth("FLOAT", "depth")
    info: Any = gpu.types.GPUShaderCreateInfo()
    info.vertex_in(0, "VEC3", "in_sun")
    info.vertex_out(between)
    info.fragment_out(0, "VEC4", "nearest")
    info.vertex_source(SUN_VERTEX)
    info.fragment_source(SUN_FRAGMENT)
    return gpu.shader.create_from_info(info)


def _buffer(name: str, values: Any) -> Any:
    """Values (n, 3) as a buffer of the graphics card."""
    layout: Any = gpu.types.GPUVertFormat()
    layout.attr_add(id=name, comp_type="F32", len=3, fetch_mode="FLOAT")
    made: Any = gpu.types.GPUVertBuf(layout, len(values))
    made.attr_fill(name, np.ascontiguousarray(values, dtype=np.float32))
    return made


def _batch(triangles: Any, *buffers: Any) -> Any:
    made: Any = gpu.types.GPUBatch(type="TRIS", buf=buffers[0], elem=triangles)
    for more in buffers[1:]:
        made.vertbuf_add(more)
    return made


class EveningDrawing:
    """A prepared picture on the graphics card. Made and used only where Blender draws."""

    def __init__(self, picture: EveningPicture) -> None:
        self.picture = picture
        table = np.ascontiguousarray(viewtransform.table())
        steps = viewtransform.STEPS
        self.table: Any = gpu.types.GPUTexture(
            (steps, steps, steps),
            format="RGBA16F",
            data=gpu.types.Buffer("FLOAT", table.size, table.ravel()),
        )
        self.shader, self.sun_shader = _picture_shader(), _sun_shader()
        self.places = _buffer("place", picture.places)
        self.nowhere = _buffer("in_sun", np.full(picture.places.shape, NOWHERE))
        self.sky_nowhere = _buffer(
            "in_sun", np.full((len(picture.sky.outward) + picture.sky.discs, 3), NOWHERE)
        )
        new: Any = gpu.types.GPUIndexBuf
        self.triangles = new(type="TRIS", seq=picture.triangles)
        self.sky_triangles = new(type="TRIS", seq=picture.sky_triangles)
        self.throwing = new(type="TRIS", seq=picture.throwing) if len(picture.throwing) else None
        self.from_sun: Any = gpu.types.GPUOffScreen(SHADOW_PX, SHADOW_PX, format="RGBA32F")
        self.target: Any = None
        self.size, self.shown = (0, 0), (0, False)

    def show(self, number: int, size: tuple[int, int], limits: bool = False) -> Any:
        """The texture of a frame (counted from 1) in a size in pixels, as the display has it; with limits,
        striped where it is beyond what the camera keeps.
        """
        if ((number, limits), size) != (self.shown, self.size):
            if size != self.size:
                self.target = gpu.types.GPUOffScreen(*size, format="RGBA8")
            self._draw(self.picture.frame(number), self._limits() if limits else NO_LIMITS)
            self.shown, self.size = (number, limits), size
        return self.target.texture_color

    def _limits(self) -> tuple[float, float]:
        """Levels below which the camera records black, and above which white without detail."""
        camera = self.picture.frames.plan.camera
        white = MIDDLE_GREY * 2.0**camera.headroom_stops
        return white / 2.0**camera.range_stops, white

    def _draw(self, now: FramePicture, limits: tuple[float, float]) -> None:
        in_sun = self.nowhere if now.in_sun is None else _buffer("in_sun", now.in_sun)
        if now.in_sun is not None and self.throwing is not None:
            self._draw_from_sun(_batch(self.throwing, in_sun))
        sky_colours = (_buffer(name, now.sky) for name in ("lit", "shaded"))
        sky = _batch(self.sky_triangles, _buffer("place", now.sky_places), *sky_colours, self.sky_nowhere)
        colours = (_buffer(name, values) for name, values in (("lit", now.lit), ("shaded", now.shaded)))
        place = _batch(self.triangles, self.places, *colours, in_sun)
        with self.target.bind():
            gpu.state.active_framebuffer_get().clear(color=(0.0, 0.0, 0.0, 1.0), depth=1.0)
            gpu.state.blend_set("NONE")
            self.shader.bind()
            self.shader.uniform_float("to_picture", Matrix(now.to_picture.tolist()))
            self.shader.uniform_float("limits", limits)
            self.shader.uniform_sampler("view_table", self.table)
            self.shader.uniform_sampler("sun_depth", self.from_sun.texture_color)
            gpu.state.depth_test_set("NONE")
            sky.draw(self.shader)
            gpu.state.depth_test_set("LESS_EQUAL")
            gpu.state.depth_mask_set(True)
            place.draw(self.shader)
            gpu.state.depth_mask_set(False)
            gpu.state.depth_test_set("NONE")

    def _draw_from_sun(self, throwing: Any) -> None:
        with self.from_sun.bind():
            gpu.state.active_framebuffer_get().clear(color=(1.0, 0.0, 0.0, 1.0), depth=1.0)
            gpu.state.blend_set("NONE")
            gpu.state.depth_test_set("LESS_EQUAL")
            gpu.state.depth_mask_set(True)
            self.sun_shader.bind()
            throwing.draw(self.sun_shader)
            gpu.state.depth_mask_set(False)
            gpu.state.depth_test_set("NONE")

"""The photographed look: the same figures in the light of a photographed room, with photographed skins.

Gives linear light, for ``sensor.photograph`` to make a webcam's picture of.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import moderngl
import numpy as np
from numpy.typing import NDArray

from calibration.render import photo_shaders, shaders
from calibration.render.gl import put, put_block
from calibration.render.render import Figure, Renderer
from calibration.scene.assets import room_light, skin_picture
from calibration.scene.camera import FAR_M, NEAR_M, Camera
from calibration.scene.looks import Cloth
from calibration.scene.photo import Photo
from posturewatch.model.arrays import FloatArray

PART_SCALE = 2  # as in ``render``
BRIGHTEST = 100.0
ARM_AXIS = np.array([0.72, -0.69, 0.02])  # from shoulder to hand at rest, left side
#: Mesa's renderer without a graphics card; it never comes to the end of filtering some skins anisotropically.
SOFTWARE = "llvmpipe"
SHADOW, ROOM, DEPTH, PICTURE, SKIN = range(5)  # texture units


class PhotoPass:
    """Programs and targets of the photographed look, on a renderer's context and buffers."""

    def __init__(self, renderer: Renderer) -> None:
        self.renderer = renderer
        make = renderer.context.program
        self.body = make(photo_shaders.BODY_VERTEX, photo_shaders.BODY_FRAGMENT)
        self.solid = make(shaders.SOLID_VERTEX, photo_shaders.SOLID_FRAGMENT)
        self.back_program = make(shaders.BACK_VERTEX, photo_shaders.BACK_FRAGMENT)
        self.frames: dict[tuple[int, int], tuple[Any, Any, Any, Any]] = {}
        self.rooms: dict[str, Any] = {}
        self.skins: dict[str, Any] = {}

    @cached_property
    def back(self) -> Any:
        corners = np.array([-1, -1, 1, -1, -1, 1, 1, 1], np.float32)
        buffer = self.renderer.context.buffer(corners.tobytes())
        return self.renderer.context.vertex_array(self.back_program, [(buffer, "2f", "in_place")])

    def target(self, size: tuple[int, int]) -> tuple[Any, Any, Any, Any]:
        if size not in self.frames:
            context, samples = self.renderer.context, self.renderer.samples
            many = context.framebuffer(
                context.renderbuffer(size, 4, samples=samples, dtype="f2"),
                context.depth_renderbuffer(size, samples=samples),
            )
            one = context.framebuffer(context.renderbuffer(size, 4, dtype="f2"))
            half = (size[0] // PART_SCALE, size[1] // PART_SCALE)
            depth = context.depth_texture(half)
            depth.compare_func = ""
            depth.repeat_x = depth.repeat_y = False
            part = context.framebuffer(context.renderbuffer(half, 1), depth)
            self.frames[size] = (many, one, part, depth)
        return self.frames[size]

    def _room(self, name: str) -> Any:
        if name not in self.rooms:
            data = room_light(name).radiance
            texture = self.renderer.context.texture(
                (data.shape[1], data.shape[0]), 3, data.tobytes(), dtype="f2", alignment=1
            )
            texture.build_mipmaps()
            texture.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
            texture.repeat_x, texture.repeat_y = True, False
            self.rooms[name] = texture
        return self.rooms[name]

    def _skin(self, name: str) -> Any:
        if name not in self.skins:
            data = skin_picture(name)
            texture = self.renderer.context.texture(
                (data.shape[1], data.shape[0]), 3, data.tobytes(), alignment=1
            )
            texture.build_mipmaps()
            texture.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
            if SOFTWARE not in self.renderer.context.info["GL_RENDERER"]:
                texture.anisotropy = 4.0
            self.skins[name] = texture
        return self.skins[name]

    def render(
        self, figure: Figure, camera: Camera, photo: Photo, picture_bgr: NDArray[np.uint8]
    ) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
        """Linear light (h, w, 3) RGB and the part buffer (h/2, w/2). picture_bgr: the painted room."""
        renderer, context = self.renderer, self.renderer.context
        size = (camera.width_px, camera.height_px)
        many, one, part, depth = self.target(size)
        renderer.load(figure)
        put_block(self.body, "u_bones", renderer.bones(figure))
        solids = [context.buffer(solid.vertices.tobytes()) for solid in figure.solids]
        shadow = renderer.cast_shadow(figure, photo.key_direction, solids)
        view = camera.matrix()
        part.use()
        context.viewport = (0, 0, size[0] // PART_SCALE, size[1] // PART_SCALE)
        part.clear(depth=1.0)
        renderer.draw_plain(figure, view, renderer.body_part, renderer.solid_part, solids)
        codes = np.frombuffer(part.read(components=1, alignment=1), np.uint8)
        codes = codes.reshape(size[1] // PART_SCALE, size[0] // PART_SCALE).copy()

        many.use()
        context.viewport = (0, 0, *size)
        many.clear(depth=1.0)
        renderer.shadow_map.use(SHADOW)
        self._room(photo.room).use(ROOM)
        depth.use(DEPTH)
        self._skin(photo.skin).use(SKIN)
        context.disable(moderngl.DEPTH_TEST)
        picture = self._backdrop(camera, photo, picture_bgr)
        context.enable(moderngl.DEPTH_TEST)
        for program in (self.body, self.solid):
            self._set_light(program, camera, photo, shadow, view)
        self._draw_body(figure, photo)
        put(self.solid, "u_wood", photo.wood)
        for solid, buffer in zip(figure.solids, solids, strict=True):
            renderer.draw_solid(self.solid, solid, buffer)
        context.copy_framebuffer(one, many)
        raw = np.frombuffer(one.read(components=3, alignment=1, dtype="f2"), np.float16)
        for buffer in (picture, *solids):
            buffer.release()
        light = raw.reshape(size[1], size[0], 3).astype(np.float32)
        np.fmax(light, 0.0, out=light)  # not a number becomes dark, too
        return np.fmin(light, BRIGHTEST, out=light), codes

    def _backdrop(self, camera: Camera, photo: Photo, picture_bgr: NDArray[np.uint8]) -> Any:
        program = self.back_program
        picture = np.ascontiguousarray(picture_bgr[:, :, ::-1])
        texture = self.renderer.context.texture(
            (picture.shape[1], picture.shape[0]), 3, picture.tobytes(), alignment=1
        )
        texture.use(PICTURE)
        half = np.array([camera.width_px, camera.height_px]) / 2 / camera.focal_px * photo.backdrop_zoom
        rays = np.stack([camera.axes[0] * half[0], camera.axes[1] * half[1], camera.axes[2]], axis=1)
        for name, value in (
            ("u_picture", PICTURE),
            ("u_room", ROOM),
            ("u_turn", photo.turn),
            ("u_gain", photo.gain),
            ("u_rays", rays),
            ("u_picture_gain", photo.picture_gain),
            ("u_level", photo.backdrop_blur),
            ("u_panorama", photo.backdrop),
            ("u_muted", photo.colours[1]),
        ):
            put(program, name, value)
        self.back.render(moderngl.TRIANGLE_STRIP)
        return texture

    def _set_light(
        self, program: Any, camera: Camera, photo: Photo, shadow: FloatArray, view: FloatArray
    ) -> None:
        room = room_light(photo.room)
        levels = float(np.log2(room.radiance.shape[1]))
        for name, value in (
            ("u_view", view),
            ("u_eye", camera.eye_m),
            ("u_axes", camera.axes),
            ("u_middle", (camera.width_px / 2, camera.height_px / 2)),
            ("u_focal", camera.focal_px),
            ("u_turn", photo.turn),
            ("u_gain", photo.gain),
            ("u_room", ROOM),
            ("u_room_levels", levels),
            ("u_depth", DEPTH),
            ("u_range", (NEAR_M, FAR_M)),
            ("u_key_direction", photo.key_direction),
            ("u_key_colour", photo.key_colour),
            ("u_lamp_place", photo.lamp_m),
            ("u_lamp_colour", photo.lamp_colour),
            ("u_shadow_matrix", shadow),
            ("u_shadow", SHADOW),
            ("u_shadow_soft", photo.key_soft),
            ("u_seed", photo.seed),
            ("u_muted", photo.colours[0]),
        ):
            put(program, name, value)
        program["u_harmonics"].write(room.harmonics.astype(np.float32).tobytes())

    def _draw_body(self, figure: Figure, photo: Photo) -> None:
        program, look, body = self.body, figure.look, figure.body
        eye = body.head("eye.L")
        for name, value in (
            ("u_swell", 1.0),
            ("u_face", (eye[0], eye[1], eye[0] * 2.0, 0.0)),
            ("u_iris", look.iris),
            ("u_skin_picture", SKIN),
            ("u_tint", photo.tint),
            ("u_detail", photo.detail),
            ("u_nails", photo.nails),
            ("u_ring", photo.ring),
            ("u_tattoo", photo.tattoo),
            ("u_sheen", photo.sheen),
            ("u_weave", photo.weave),
            ("u_arm_axis", ARM_AXIS),
        ):
            put(program, name, value)
        for kind, name, cloth in (
            (0, "skin", Cloth(look.skin, look.skin, np.zeros(4), 1.0)),
            (1, "trousers", look.trousers),
            (1, "shirt", look.shirt),
            (3, "band", look.band),
            (2, "hair", Cloth(look.hair, look.hair, np.zeros(4), 1.0)),
        ):
            if name in figure.garments:
                put(program, "u_kind", kind)
                put(program, "u_colour_a", cloth.colour_a)
                put(program, "u_colour_b", cloth.colour_b)
                put(program, "u_pattern", cloth.pattern)
                put(program, "u_rough", cloth.rough)
                self.renderer.draw_shell(program, name)

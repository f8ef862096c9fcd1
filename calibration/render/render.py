"""Off-screen rendering with OpenGL 3.3: skinned body, instrument, shadow map, background, part buffer.

Works without a display through EGL, on a GPU or on Mesa's software rasteriser.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import moderngl
import numpy as np
from numpy.typing import NDArray

from calibration.body.bodies import Bodies, Body, vertex_normals
from calibration.render import shaders
from calibration.render.gl import buffer_format, put, put_block
from calibration.scene.camera import Camera
from calibration.scene.looks import Cloth, Light, Look, finger_marks, marks
from posturewatch.model.arrays import FloatArray

SHADOW_PX = 1024
SKIN_UNDER_M = 0.012  # skin this deep under a garment is not drawn
PART_SCALE = 2  # the part buffer has half the picture's resolution
PARTS = {"forearm_left": 1, "hand_left": 2, "forearm_right": 3, "hand_right": 4, "body": 5, "thing": 6}


@dataclass(frozen=True)
class Solid:
    """A rigid mesh: vertices (n, 10) as from ``instrument.build_mesh`` and its world matrix (3, 4).

    holds: what it moves with: "instrument", "head" or "" for nothing.
    """

    vertices: NDArray[np.float32]
    matrix: FloatArray
    holds: str = ""


@dataclass(frozen=True)
class Figure:
    """All that is drawn of a player. garments: see ``looks.garments``."""

    body: Body
    turns: FloatArray
    heads: FloatArray
    look: Look
    garments: dict[str, FloatArray]
    solids: tuple[Solid, ...]


class Renderer:
    """Keeps one OpenGL context with buffers for one set of bodies."""

    def __init__(self, bodies: Bodies, samples: int = 4, device: int | None = None) -> None:
        self.bodies = bodies
        settings: dict[str, Any] = {"standalone": True, "backend": "egl", "require": 330}
        if device is not None:
            settings["device_index"] = device
        self.context = moderngl.create_context(**settings)
        self.samples = min(samples, self.context.max_samples)
        make = self.context.program
        self.body_program = make(shaders.BODY_VERTEX, shaders.BODY_FRAGMENT)
        self.body_shadow = make(shaders.BODY_VERTEX, shaders.EMPTY_FRAGMENT)
        self.body_part = make(shaders.BODY_VERTEX, shaders.BODY_ID_FRAGMENT)
        self.solid_program = make(shaders.SOLID_VERTEX, shaders.SOLID_FRAGMENT)
        self.solid_shadow = make(shaders.SOLID_VERTEX, shaders.EMPTY_FRAGMENT)
        self.solid_part = make(shaders.SOLID_VERTEX, shaders.SOLID_ID_FRAGMENT)
        self.back_program = make(shaders.BACK_VERTEX, shaders.BACK_FRAGMENT)
        self._body_buffers()
        corners = np.array([-1, -1, 1, -1, -1, 1, 1, 1], np.float32)
        self.back = self.context.vertex_array(
            self.back_program, [(self.context.buffer(corners.tobytes()), "2f", "in_place")]
        )
        self.shadow_map = self.context.depth_texture((SHADOW_PX, SHADOW_PX))
        self.shadow_map.compare_func = ""
        self.shadow_map.repeat_x = self.shadow_map.repeat_y = False
        self.shadow_frame = self.context.framebuffer(depth_attachment=self.shadow_map)
        self.frames: dict[tuple[int, int], tuple[Any, Any, Any]] = {}
        self._loaded: tuple[int, dict[str, FloatArray]] | None = None

    def _body_buffers(self) -> None:
        shared = self.bodies
        self.origin, self.corners = _cut_at_seams(shared)
        index = shared.weight_index.astype(np.float32)
        weights = shared.weights / shared.weights.sum(1, keepdims=True)
        still = np.concatenate(
            [
                index[:, :3],
                index[:, 3:6],
                weights[:, :3],
                weights[:, 3:6],
                marks(shared),
                finger_marks(shared),
            ],
            1,
        )[self.origin[:, 0]]
        uv = np.zeros((1, 2)) if shared.uv is None else shared.uv
        still = np.concatenate([still, uv[self.origin[:, 1]]], 1)
        count = len(still)
        self.still = self.context.buffer(still.astype(np.float32).tobytes())
        self.shape = self.context.buffer(reserve=count * 24)
        self.faces = self.context.buffer(self.corners.astype(np.int32).tobytes())
        self.shells = {
            name: self.context.buffer(reserve=count * 8)
            for name in ("skin", "shirt", "trousers", "band", "hair")
        }
        self.shell_faces = {name: self.context.buffer(reserve=shared.faces.size * 4) for name in self.shells}
        self.shell_counts = dict.fromkeys(self.shells, 0)
        self.shells["bare"] = self.context.buffer(np.zeros((count, 2), np.float32).tobytes())

    def _body_array(self, program: Any, shell: str) -> Any:
        names = ["in_bone0", "in_bone1", "in_weight0", "in_weight1", "in_mark", "in_finger", "in_uv"]
        used = [(self.still, *buffer_format(program, names, (3, 3, 3, 3, 4, 4, 2)))]
        used.append((self.shape, *buffer_format(program, ["in_place", "in_normal"], (3, 3))))
        used.append((self.shells[shell], *buffer_format(program, ["in_shell"], (2,))))
        return self.context.vertex_array(program, used, self.shell_faces.get(shell, self.faces))

    def _target(self, size: tuple[int, int]) -> tuple[Any, Any, Any]:
        if size not in self.frames:
            many = self.context.framebuffer(
                self.context.renderbuffer(size, 3, samples=self.samples),
                self.context.depth_renderbuffer(size, samples=self.samples),
            )
            one = self.context.framebuffer(self.context.renderbuffer(size, 3))
            half = (size[0] // PART_SCALE, size[1] // PART_SCALE)
            part = self.context.framebuffer(
                self.context.renderbuffer(half, 1), self.context.depth_renderbuffer(half)
            )
            self.frames[size] = (many, one, part)
        return self.frames[size]

    def render(
        self,
        figure: Figure,
        camera: Camera,
        light: Light,
        background_bgr: NDArray[np.uint8],
        parts: bool = True,
    ) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """Picture (h, w, 3) BGR and part buffer (h/2, w/2) with the codes of ``PARTS`` (0: background)."""
        size = (camera.width_px, camera.height_px)
        many, one, part = self._target(size)
        self.load(figure)
        solids = [self.context.buffer(solid.vertices.tobytes()) for solid in figure.solids]
        shadow = self.cast_shadow(figure, light.key_direction, solids)
        many.use()
        self.context.viewport = (0, 0, *size)
        many.clear(0.2, 0.2, 0.2, depth=1.0)
        picture = np.ascontiguousarray(background_bgr[:, :, ::-1])
        texture = self.context.texture(
            (picture.shape[1], picture.shape[0]), 3, picture.tobytes(), alignment=1
        )
        self.context.disable(moderngl.DEPTH_TEST)
        texture.use(1)
        put(self.back_program, "u_picture", 1)
        self.back.render(moderngl.TRIANGLE_STRIP)
        self.context.enable(moderngl.DEPTH_TEST)
        view = camera.matrix()
        self.shadow_map.use(0)
        for program in (self.body_program, self.solid_program):
            self._set_light(program, camera, light, shadow, view)
        self._draw_body(figure)
        for solid, buffer in zip(figure.solids, solids, strict=True):
            self.draw_solid(self.solid_program, solid, buffer)
        self.context.copy_framebuffer(one, many)
        raw = np.frombuffer(one.read(components=3, alignment=1), np.uint8).reshape(size[1], size[0], 3)
        codes = np.zeros((size[1] // PART_SCALE, size[0] // PART_SCALE), np.uint8)
        if parts:
            part.use()
            self.context.viewport = (0, 0, codes.shape[1], codes.shape[0])
            part.clear(depth=1.0)
            self.draw_plain(figure, view, self.body_part, self.solid_part, solids)
            codes = np.frombuffer(part.read(components=1, alignment=1), np.uint8).reshape(codes.shape).copy()
        texture.release()
        for buffer in solids:
            buffer.release()
        return np.asarray(cv2.cvtColor(raw, cv2.COLOR_RGB2BGR), np.uint8), codes

    def cast_shadow(self, figure: Figure, key_direction: FloatArray, solids: list[Any]) -> FloatArray:
        """Fill the shadow map with what the key light sees; returns its matrix."""
        shadow = _shadow_matrix(figure, key_direction)
        self.context.enable(moderngl.DEPTH_TEST)
        self.shadow_frame.use()
        self.context.viewport = (0, 0, SHADOW_PX, SHADOW_PX)
        self.shadow_frame.clear(depth=1.0)
        self.draw_plain(figure, shadow, self.body_shadow, self.solid_shadow, solids)
        return shadow

    def load(self, figure: Figure) -> None:
        worn = self._loaded  # kept, so that no other clothes take their place in memory and pass for them
        if worn is None or worn[0] != figure.body.identity or worn[1] is not figure.garments:
            normals = vertex_normals(figure.body.vertices_m, figure.body.shared.faces)
            origin = self.origin[:, 0]
            shape = np.concatenate([figure.body.vertices_m, normals], 1)[origin]
            self.shape.write(shape.astype(np.float32).tobytes())
            for name, value in figure.garments.items():
                self.shells[name].write(value[origin].tobytes())
                level = value[:, 1][figure.body.shared.faces]
                seen = level.min(1) < SKIN_UNDER_M if name == "skin" else level.max(1) > 0
                chosen = self.corners[seen]
                self.shell_faces[name].write(chosen.astype(np.int32).tobytes())
                self.shell_counts[name] = chosen.size
            self._loaded = (figure.body.identity, figure.garments)
        bones = self.bones(figure)
        for program in (self.body_program, self.body_shadow, self.body_part):
            put_block(program, "u_bones", bones)

    @staticmethod
    def bones(figure: Figure) -> bytes:
        """The pose, as the programs take it."""
        return bytes(figure.body.transforms(figure.turns, figure.heads).astype(np.float32).tobytes())

    def draw_plain(self, figure: Figure, view: FloatArray, body: Any, solid: Any, buffers: list[Any]) -> None:
        put(body, "u_view", view)
        put(body, "u_swell", 0.0)
        array = self._body_array(body, "bare")
        array.render()
        array.release()
        put(solid, "u_view", view)
        put(solid, "u_part", float(PARTS["thing"]))
        for item, buffer in zip(figure.solids, buffers, strict=True):
            self.draw_solid(solid, item, buffer)

    def draw_solid(self, program: Any, solid: Solid, buffer: Any) -> None:
        model = np.eye(4)
        model[:3] = solid.matrix
        put(program, "u_model", model)
        names = ["in_place", "in_normal", "in_colour", "in_material"]
        array = self.context.vertex_array(program, [(buffer, *buffer_format(program, names, (3, 3, 3, 1)))])
        array.render()
        array.release()

    def draw_shell(self, program: Any, name: str) -> None:
        """One garment, or the skin, of the figure loaded."""
        array = self._body_array(program, name)
        array.render(vertices=self.shell_counts[name])
        array.release()

    def _draw_body(self, figure: Figure) -> None:
        program, look, body = self.body_program, figure.look, figure.body
        eye = body.head("eye.L")
        put(program, "u_swell", 1.0)
        put(program, "u_face", (eye[0], eye[1], eye[0] * 2.0, body.head("head")[2] + 0.05))
        put(program, "u_brow", look.hair * 0.8)
        put(program, "u_iris", look.iris)
        put(program, "u_skin", look.skin_marks)
        for kind, name, cloth in (
            (0, "skin", Cloth(look.skin, look.skin, np.zeros(4), 1.0)),
            (1, "trousers", look.trousers),
            (1, "shirt", look.shirt),
            (3, "band", look.band),
            (2, "hair", Cloth(look.hair, look.hair, np.zeros(4), 1.0)),
        ):
            if name not in figure.garments:
                continue
            put(program, "u_kind", kind)
            put(program, "u_colour_a", cloth.colour_a)
            put(program, "u_colour_b", cloth.colour_b)
            put(program, "u_pattern", cloth.pattern)
            put(program, "u_rough", cloth.rough)
            self.draw_shell(program, name)

    def _set_light(
        self, program: Any, camera: Camera, light: Light, shadow: FloatArray, view: FloatArray
    ) -> None:
        for name, value in (
            ("u_view", view),
            ("u_eye", camera.eye_m),
            ("u_sky", light.sky),
            ("u_ground", light.ground),
            ("u_key_direction", light.key_direction),
            ("u_key_colour", light.key_colour),
            ("u_fill_direction", light.fill_direction),
            ("u_fill_colour", light.fill_colour),
            ("u_lamp_place", light.lamp_m),
            ("u_lamp_colour", light.lamp_colour),
            ("u_shadow_matrix", shadow),
            ("u_shadow", 0),
            ("u_shadow_soft", light.shadow_soft),
            ("u_exposure", light.exposure),
            ("u_gloss", light.wood_gloss),
        ):
            put(program, name, value)


def _cut_at_seams(bodies: Bodies) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Vertices doubled where the skin picture has a seam: (D, 2) vertex and place in the picture of each, and (F, 3)
    faces in them."""
    faces = bodies.faces.astype(np.int64)
    places = np.zeros_like(faces) if bodies.uv_faces is None else bodies.uv_faces.astype(np.int64)
    pairs = np.stack([faces.ravel(), places.ravel()], 1)
    origin, corners = np.unique(pairs, axis=0, return_inverse=True)
    return origin, corners.reshape(faces.shape)


def _shadow_matrix(figure: Figure, key_direction: FloatArray) -> FloatArray:
    """Orthographic view from the key light, tight around the player."""
    away = -key_direction
    helper = np.array([0.0, 1.0, 0.0]) if abs(away[1]) < 0.9 else np.array([1.0, 0.0, 0.0])
    right = np.cross(away, helper)
    right /= np.linalg.norm(right)
    axes = np.stack([right, np.cross(away, right), away])
    points = figure.heads[figure.heads[:, 1] > -0.25] @ axes.T
    low, high = points.min(0) - 0.3, points.max(0) + 0.3
    low[2] -= 0.8
    high[2] += 0.3
    matrix = np.eye(4)
    matrix[:3, :3] = axes * (2 / (high - low))[:, None]
    matrix[:3, 3] = -(high + low) / (high - low)
    return matrix

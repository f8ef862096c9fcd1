"""One labelled still from one seed: player, camera, light, room, picture and truth.

``Studio.still(seed, framing, split)`` gives the picture and a dictionary of labels that is ready for JSON.
Lengths are metres (mm where the name says so), angles degrees, pixels have their origin top left, camera axes
are x right, y down, z away. Frames are 3x3, columns palmar, proximal, radial (see ``hand_pose``), so those of
left hands are mirrored (determinant -1).
"""

from __future__ import annotations

import copy
import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.body.bodies import SPLITS, Bodies, Body
from calibration.dataset.film import Film, blurred_hands, dimmed, hindered
from calibration.dataset.labels import label_of
from calibration.dataset.props import long_hair, seat
from calibration.render.imaging import develop, jpeg, smear
from calibration.render.photo import PhotoPass
from calibration.render.render import PARTS, Figure, Renderer, Solid
from calibration.render.sensor import photograph, sample_sensor
from calibration.scene.backgrounds import make_background
from calibration.scene.camera import Camera
from calibration.scene.grip import gripped_mesh
from calibration.scene.looks import Look, garments, sample_light, sample_look
from calibration.scene.motion import MOMENTS_APART_S, Performance, moments, random_score
from calibration.scene.neck import sample_habits
from calibration.scene.other_instruments import bow_mesh, full_mesh
from calibration.scene.other_players import elsewhere, sample_any_player, sample_bystander, sample_cup
from calibration.scene.photo import Photo, sample_photo
from calibration.scene.player import Player, sample_player, sample_setting
from calibration.scene.view import FRAMINGS, View, sample_view
from posturewatch.model.observation import SIDES

LOOKS = ("photo", "plain")
SIZES = ((1280, 720), (640, 480), (960, 540), (720, 1280))
SIZE_SHARES = (0.66, 0.18, 0.08, 0.08)
LEFT_HANDED_SHARE = 0.2
HAND_PARTS = [PARTS[f"{part}_{side}"] for part in ("hand", "forearm") for side in SIDES]
#: What may go wrong in a single scene, which is then left out.
FAILURES = (ArithmeticError, ValueError, LookupError, np.linalg.LinAlgError, cv2.error)
COMPANY_SHARE = 0.1  # of pictures with somebody behind the player
LENS_SHARE, LENS = 0.45, (-0.2, 0.04)  # of pictures with lines that bow, and how much (`Camera.lens`)
BACKDROP_TOP = 8.0  # radiance that a painted backdrop can hold
BLANK = np.zeros((2, 2, 3), np.uint8)  # where no painted room is shown
VIDEO_SEEDS = 2**40  # videos draw from other streams than stills
MOMENT_SEEDS = 2**41  # and so do moments of playing


@dataclass(frozen=True)
class Still:
    """image_bgr: as a webcam would give it; jpeg: the same, compressed; label: see the module."""

    image_bgr: NDArray[np.uint8]
    jpeg: bytes
    label: dict[str, Any]


class Studio:
    """Bodies and a renderer; makes stills. Deterministic: a seed, a framing and a split fix the picture.

    look: "photo", or "plain" for the flat look of the pictures made before there was another; the scenes of "plain"
    are those that the same seeds always gave.
    """

    def __init__(self, bodies: Bodies, renderer: Renderer | None = None, look: str = "photo") -> None:
        if look not in LOOKS:
            raise ValueError(f"look must be one of {LOOKS}, not {look!r}")
        self.bodies = bodies
        self.look = look
        self.renderer = renderer if renderer is not None else Renderer(bodies)

    @cached_property
    def photo(self) -> PhotoPass:
        """The photographed look, made when first asked for."""
        return PhotoPass(self.renderer)

    def still(self, seed: int, framing: str | None = None, split: str = "train") -> Still:
        """One still. ``framing`` None draws one. Raises ValueError for unknown names."""
        return next(self.views(seed, framing, split, 1))

    def views(
        self, seed: int, framing: str | None = None, split: str = "train", count: int = 1
    ) -> Iterator[Still]:
        """Stills of one pose: camera, framing, clothes, light and room are drawn anew for each."""
        _known(framing)
        rng = scene_rng(seed, split)
        sample = sample_player if self.look == "plain" else sample_any_player
        try:
            body = self._somebody(split, rng)
            player = sample(body, rng, left_handed=bool(rng.random() < LEFT_HANDED_SHARE))
        except FAILURES as error:
            raise RuntimeError(f"no pose was found for seed {seed}") from error
        yield from self._pictures(itertools.repeat(player, count), framing, rng, split, seed)

    def moments(
        self, seed: int, framing: str | None = None, split: str = "train", count: int = 1, of_each: int = 1
    ) -> Iterator[Still]:
        """Stills of one player at moments of playing, some seconds apart, so many of each, everything else drawn anew
        for each still. While somebody plays, the arm takes the hand where the music wants it: poses that single ones do
        not show. Such a moment costs more than its picture does."""
        _known(framing)
        rng = scene_rng(seed + MOMENT_SEEDS, split)
        try:
            asked = -(-count // of_each)
            performance = self._performance(self._somebody(split, rng), rng, 2 * asked * MOMENTS_APART_S)
        except FAILURES as error:
            raise RuntimeError(f"no pose was found for seed {seed}") from error
        repeated = (player for player in moments(performance, asked) for _ in range(of_each))
        yield from self._pictures(itertools.islice(repeated, count), framing, rng, split, seed)

    def _somebody(self, split: str, rng: np.random.Generator) -> Body:
        chosen = self.bodies.of_split(split)
        return self.bodies.body(int(chosen[rng.integers(len(chosen))]))

    def _performance(self, body: Body, rng: np.random.Generator, seconds: float) -> Performance:
        """Somebody who plays for so long; raises RuntimeError without a plausible pose."""
        habits = sample_habits(rng)
        if self.look == "photo":
            habits = replace(habits, cup=sample_cup(rng))
        setting = sample_setting(body, rng, habits=habits)
        score = random_score(setting, seconds, rng, Performance(setting, None, rng))
        left_handed = bool(rng.random() < LEFT_HANDED_SHARE)
        return Performance(setting, score, rng, left_handed, sway_deg=float(rng.uniform(0.3, 2.5)))

    def _pictures(
        self, players: Iterable[Player], framing: str | None, rng: np.random.Generator, split: str, seed: int
    ) -> Iterator[Still]:
        try:
            for player in players:
                drawn = FRAMINGS[int(rng.choice(3, p=[0.4, 0.3, 0.3]))]
                yield self._taken(player, framing or drawn, rng, {"split": split, "seed": seed})
        except FAILURES as error:
            raise RuntimeError(f"the scene of seed {seed} could not be made") from error

    def _taken(self, player: Player, framing: str, rng: np.random.Generator, about: dict[str, Any]) -> Still:
        look, light = sample_look(rng), sample_light(rng)
        figure = make_figure(player, look, rng)
        size = SIZES[int(rng.choice(len(SIZES), p=SIZE_SHARES))]
        photo = sample_photo(rng, look, light) if self.look == "photo" else None
        room = BLANK if photo is not None and photo.backdrop else make_background(rng, size)
        for _ in range(6):
            view = sample_view(player, framing, size, rng)
            picture: Any
            if photo is None:
                picture, parts = self.renderer.render(figure, view.camera, light, room)
            else:
                seen, parts = self.photo.render(figure, view.camera, photo, room)
            label = label_of(player, view.camera, parts)
            shown = "left" if player.handedness == "right" else "right"
            if next(hand for hand in label["hands"] if hand["side"] == shown)["hand_visible"] > 0.45:
                break
        if photo is not None:
            further, camera = [], view.camera
            bowed = replace(camera, lens=float(rng.uniform(*LENS)) if rng.random() < LENS_SHARE else 0.0)
            if rng.random() < COMPANY_SHARE:
                backdrop, beside, other, codes = self._company(
                    about["split"], camera, photo, room, parts, rng
                )
                seen, parts = self.photo.render(figure, camera, beside, backdrop)
                further = label_of(other, bowed, bowed.distorted(codes))["hands"]
            seen, parts = bowed.distorted(seen), bowed.distorted(parts)
            label = label_of(player, bowed, parts) | about | _view_label(framing, view, look)
            label["hands"] += further
            image, data = _photographed(seen, parts, rng)
            return Still(image_bgr=image, jpeg=data, label=label)
        label |= about | _view_label(framing, view, look)
        picture = expose(picture, rng)
        if rng.random() < 0.3:
            moving = np.isin(
                parts, [PARTS["hand_left"], PARTS["forearm_left"], PARTS["hand_right"]]
            ) * np.uint8(255)
            length = rng.uniform(3, 16) * size[0] / 1280
            picture = smear(picture, moving, rng.uniform(0, 180), length)
        picture = develop(picture, rng)
        data = jpeg(picture, int(rng.integers(55, 96)))
        image = np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), np.uint8)
        return Still(image_bgr=image, jpeg=data, label=label)

    def _company(
        self,
        split: str,
        camera: Camera,
        photo: Photo,
        room: NDArray[np.uint8],
        parts: NDArray[np.uint8],
        rng: np.random.Generator,
    ) -> tuple[NDArray[np.uint8], Photo, Player, NDArray[np.uint8]]:
        """Somebody behind the player: the backdrop with them in it, the photo that shows it, who it is, and which of
        their parts are in view. parts: of the player alone."""
        body = self._somebody(split, rng)
        back = camera.axes[2] * [1.0, 0.0, 1.0] * rng.uniform(0.7, 3.0)
        aside = camera.axes[0] * rng.choice([-1, 1]) * rng.uniform(0.2, 0.6) * (1 + np.linalg.norm(back))
        player = elsewhere(sample_bystander(body, rng), rng.uniform(-np.pi, np.pi), back + aside)
        look, light = sample_look(rng), sample_light(rng)
        theirs = sample_photo(rng, look, light)
        lit = replace(photo, skin=theirs.skin, tint=theirs.tint, detail=theirs.detail, weave=theirs.weave)
        seen, codes = self.photo.render(make_figure(player, look, rng), camera, lit, room)
        soft = cv2.GaussianBlur(seen, (0, 0), float(rng.uniform(0.3, 3.0)) * camera.width_px / 1280)
        stored = np.clip(soft / BACKDROP_TOP, 0, 1) ** (1 / 2.2) * 255
        shown = np.ascontiguousarray(stored[:, :, ::-1].astype(np.uint8))
        colours = np.array([photo.colours[0], 1.0])
        beside = replace(photo, backdrop=False, picture_gain=np.full(3, BACKDROP_TOP), colours=colours)
        return shown, beside, player, np.where(parts > 0, np.uint8(0), codes)

    def video(
        self,
        seed: int,
        split: str = "train",
        framing: str | None = None,
        frames: int = 300,
        rate_hz: float = 30.0,
    ) -> Iterator[tuple[float, NDArray[np.uint8], dict[str, Any]]]:
        """Frames of one video: time in seconds, picture, label. Raises RuntimeError without a plausible pose."""
        film = self.film(seed, split, framing, frames / rate_hz)
        yield from self.filmed(film, [number / rate_hz for number in range(frames)])

    def film(
        self,
        seed: int,
        split: str = "train",
        framing: str | None = None,
        seconds: float = 10.0,
        size: tuple[int, int] | None = None,
    ) -> Film:
        """What a seed draws for a video; `size` in place of the drawn one. Raises RuntimeError without a plausible
        pose."""
        rng = scene_rng(seed + VIDEO_SEEDS, split)
        framing = framing or FRAMINGS[int(rng.choice(3, p=[0.4, 0.3, 0.3]))]
        performance = self._performance(self._somebody(split, rng), rng, seconds)
        player = performance.at(0.0)
        look, light = sample_look(rng), sample_light(rng)
        dressing = copy.deepcopy(rng)
        figure = make_figure(player, look, rng)
        drawn = SIZES[int(rng.choice(len(SIZES), p=SIZE_SHARES))]
        room = make_background(rng, size or drawn)
        view = sample_view(player, framing, size or drawn, rng)
        shutter, style, quality = rng.uniform(0.0, 0.7), int(rng.integers(2**31)), int(rng.integers(60, 95))
        photo = sample_photo(rng, look, light) if self.look == "photo" else None
        about = {"split": split, "seed": seed, "framing": framing}
        return Film(
            performance, player, figure, dressing, light, photo, room, view, shutter, style, quality, about
        )

    def filmed(
        self, film: Film, times_s: Sequence[float], players: Iterable[Player] | None = None
    ) -> Iterator[tuple[float, NDArray[np.uint8], dict[str, Any]]]:
        """A film's frames at rising times; `players`: those of these times, where they are known already."""
        about = film.about | _view_label(film.about["framing"], film.view, film.figure.look)
        camera, photo, before = film.view.camera, film.photo, None
        moments = players or film.players(times_s)
        for number, (time_s, player) in enumerate(zip(times_s, moments, strict=True)):
            picture: Any  # bytes of a picture, or the light of a photograph
            figure = moved(film.figure, player)
            if photo is None:
                picture, parts = self.renderer.render(figure, camera, film.light, film.room)
            else:
                picture, parts = self.photo.render(figure, camera, photo, film.room)
            label = label_of(player, camera, parts) | about | {"time_s": time_s}
            places = np.array([hand["joints_px"] for hand in label["hands"]], float)
            look_rng = np.random.default_rng(film.style)
            if photo is None:
                picture = expose(picture, look_rng)
            if before is not None:
                picture = blurred_hands(picture, parts, (places - before) * film.shutter)
            before = places
            frame_rng = np.random.default_rng([film.style, number])
            if photo is not None:
                sensor = hindered(sample_sensor(look_rng), film)
                yield time_s, photograph(picture, sensor, frame_rng, parts)[0], label
                continue
            picture = develop(dimmed(picture, film), look_rng, frame_rng)
            data = jpeg(picture, film.quality)
            image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
            yield time_s, np.asarray(image, np.uint8), label


def _known(framing: str | None) -> None:
    if framing is not None and framing not in FRAMINGS:
        raise ValueError(f"framing must be one of {FRAMINGS}, not {framing!r}")


def dressed(film: Film, look: Look) -> Film:
    """The same film in other clothes of the same cut."""
    figure = make_figure(film.player, look, copy.deepcopy(film.dressing))
    return replace(film, figure=figure)


def _view_label(framing: str, view: View, look: Look) -> dict[str, Any]:
    return {
        "framing": framing,
        "azimuth_deg": view.azimuth_deg,
        "elevation_deg": view.elevation_deg,
        "distance_m": view.distance_m,
        "sleeves": {"left": look.sleeves[0], "right": look.sleeves[1]},
    }


def _photographed(
    light: NDArray[np.float32], parts: NDArray[np.uint8], rng: np.random.Generator
) -> tuple[NDArray[np.uint8], bytes]:
    """A webcam's picture of the light, with its JPEG; hands may have moved, or the camera."""
    h, w = light.shape[:2]
    kind = rng.random()
    if kind < 0.3:
        moving = np.isin(parts, HAND_PARTS) * np.uint8(255)
        length = rng.choice([rng.uniform(3, 14), rng.uniform(12, 32)], p=[0.75, 0.25])
        light = smear(light, moving, rng.uniform(0, 180), float(length) * w / 1280)
    elif kind < 0.36:
        every = np.full((h // 2, w // 2), 255, np.uint8)
        light = smear(light, every, rng.uniform(0, 180), rng.uniform(3, 9) * w / 1280)
    return photograph(light, sample_sensor(rng), rng, parts)


def moved(figure: Figure, player: Player) -> Figure:
    """The same figure in a new pose; the chair stays."""
    head = player.body.bone("head")
    turn = player.turns[head]
    shift = player.heads[head] - turn @ player.body.heads_m[head]
    matrices = {
        "instrument": player.instrument_matrix,
        "head": np.concatenate([turn, shift[:, None]], 1),
    }
    solids = tuple(replace(solid, matrix=matrices.get(solid.holds, solid.matrix)) for solid in figure.solids)
    return replace(figure, turns=player.turns, heads=player.heads, solids=solids)


def scene_rng(seed: int, split: str) -> np.random.Generator:
    """The random stream of one scene: streams of different splits never meet."""
    if split not in SPLITS:
        raise ValueError(f"split must be one of {SPLITS}, not {split!r}")
    return np.random.default_rng([SPLITS.index(split), seed])


def expose(picture: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    """The camera's own exposure control: the mean brightness is brought near a usual level."""
    mean = float(cv2.mean(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY))[0])
    gain = np.clip((rng.uniform(85, 150) / max(mean, 1.0)) ** 0.8, 0.6, 3.0)
    return np.asarray(cv2.convertScaleAbs(picture, alpha=float(gain)), np.uint8)


def make_figure(player: Player, look: Look, rng: np.random.Generator, chair: bool | None = None) -> Figure:
    """Everything drawn of the player: body with clothes, instrument, long hair, chair."""
    solids = []
    if player.instrument is not None:
        solids.append(Solid(full_mesh(player.instrument), player.instrument_matrix, "instrument"))
    if player.bow is not None:
        solids.append(Solid(bow_mesh(player.bow_m, rng), player.bow))
    for hand in player.hands:
        if hand.gripped is not None:
            wrist = player.landmarks_m(hand.side)[0]
            own = hand.hand_frame @ hand.gripped.matrix
            own[:, 3] += wrist
            solids.append(Solid(gripped_mesh(hand.gripped), own))
    if look.long_hair_m > 0:
        solids.append(long_hair(player, look, rng))
    if player.seated and (rng.random() < 0.6 if chair is None else chair):
        solids.append(seat(rng))
    return Figure(
        player.body, player.turns, player.heads, look, garments(player.body, look, rng), tuple(solids)
    )

"""The demo video and its truth: a guitarist of our own invention, wrist angles known frame by frame.

    python -m calibration.dataset.demo_video --bodies BODIES.npz

writes ``calibration/demo/demo.mp4`` and ``calibration/demo/truth.csv`` (a row for each frame: time_s, then flexion
and ulnar deviation of the left and of the right wrist in degrees, then how far index, middle, ring and little finger of
the left hand are lifted from the strings in millimetres). Comfortable playing, one brief extreme flexion
of the left wrist and two that are held; the right wrist is comfortable throughout. Both palms arch, as those of hands
that grip do. Needs PyAV.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.body.bodies import Bodies, default_path, load_bodies
from calibration.body.geometry import rotation_y
from calibration.body.hand_pose import FINGERS, wrist_angles_deg
from calibration.dataset.scenes import make_figure, moved
from calibration.render.photo import PhotoPass
from calibration.render.render import Figure, Renderer
from calibration.render.sensor import Sensor, photograph
from calibration.scene.assets import room_light
from calibration.scene.camera import Camera, look_at
from calibration.scene.instrument import Instrument
from calibration.scene.looks import Cloth, Look
from calibration.scene.motion import Performance, Score, Track, chords
from calibration.scene.neck import NO_HABITS
from calibration.scene.other_players import sample_cup
from calibration.scene.photo import Photo
from calibration.scene.player import Player, Setting, sample_setting
from posturewatch.model.observation import SIDES

SEED = 391
IDENTITY = 53
ROOM, ROOM_TURN_DEG = "apartment", 67.0  # with its window before the player
SIZE_PX = (960, 540)
RATE_HZ = 30
SECONDS = 38.0
MOVE_S = 0.5  # into and out of an extreme angle
EXTREME_DEG = 69.0
#: When the left wrist goes beyond its extreme limit and when it comes back: one brief stay, then two held ones.
EPISODES_S = ((6.0, 7.3), (13.0, 19.5), (26.5, 33.0))
COMFORTABLE_DEG = (16.0, 1.0)
PLUCKING_DEG = (8.0, 3.0)
COLUMNS = (
    "time_s",
    "left_flexion_deg",
    "left_ulnar_deviation_deg",
    "right_flexion_deg",
    "right_ulnar_deviation_deg",
    *(f"left_{finger}_lift_mm" for finger in FINGERS),
)
NO_PICTURE = np.zeros((2, 2, 3), np.uint8)  # of a painted room
FOLDER = Path(__file__).parents[1] / "demo"


@dataclass(frozen=True)
class Frame:
    """One frame of the video. truth: in the order of ``COLUMNS``."""

    image_bgr: NDArray[np.uint8]
    player: Player
    truth: tuple[float, ...]


def demo_setting(bodies: Bodies, seed: int = SEED, identity: int = IDENTITY) -> Setting:
    """The guitarist at rest."""
    rng = np.random.default_rng([seed, 1])
    cups = sample_cup(rng), sample_cup(rng)
    habits = replace(NO_HABITS, cup=cups[0])
    wrists = COMFORTABLE_DEG, PLUCKING_DEG
    return sample_setting(bodies.body(identity), rng, wrists, habits=habits, plucking_cup=cups[1])


def demo_score(setting: Setting, seed: int = SEED) -> Score:
    """Comfortable playing with the stays at extreme flexion."""
    rng = np.random.default_rng([seed, 2])
    flexions: list[tuple[float, float, float]] = []
    deviations: list[tuple[float, float, float]] = []
    time_s = 1.0
    for start, end in (*EPISODES_S, (SECONDS, SECONDS)):
        while time_s < start - 1.0:
            flexions.append((time_s, float(rng.uniform(0.5, 1.0)), float(rng.uniform(6, 23))))
            deviations.append((time_s, 0.8, float(rng.uniform(-3.5, 4.5))))
            time_s += float(rng.uniform(1.2, 2.6))
        if start < SECONDS:
            flexions.append((start, MOVE_S, EXTREME_DEG))
            deviations.append((start, MOVE_S, 1.0))
            flexions.append((end, MOVE_S, float(rng.uniform(10, 20))))
        time_s = end + 1.2
    pluck = setting.plucking
    return Score(
        flexion=Track(setting.fretting.flexion_deg, tuple(flexions)),
        deviation=Track(setting.fretting.ulnar_deviation_deg, tuple(deviations)),
        pluck_flexion=Track(pluck.flexion_deg),
        pluck_deviation=Track(pluck.ulnar_deviation_deg),
        **chords(setting, SECONDS, rng),
    )


def demo_look() -> Look:
    """A grey T-shirt, dark trousers, brown hair."""
    plain = np.array([0.0, 20.0, 0.5, 14.0])
    shirt = Cloth(np.array([0.12, 0.20, 0.27]), np.array([0.1, 0.1, 0.1]), plain, 0.25)
    trousers = Cloth(np.array([0.03, 0.035, 0.05]), np.array([0.1, 0.1, 0.1]), plain, 0.25)
    return Look(
        skin=np.array([0.62, 0.39, 0.29]),
        skin_marks=np.array([0.14, 0.7, 0.6, 0.4]),
        iris=np.array([0.10, 0.05, 0.02]),
        hair=np.array([0.05, 0.028, 0.016]),
        hair_line=0.004,
        hair_m=0.018,
        long_hair_m=0.0,
        shirt=shirt,
        trousers=trousers,
        sleeves=(0.62, 0.62),
        looseness_m=0.012,
        neckline_m=0.02,
        bands=(None, None),
        band=shirt,
    )


def demo_photo() -> Photo:
    """A bare living room by day; neither rings nor polish nor tattoos."""
    room, turn = room_light(ROOM), rotation_y(np.radians(ROOM_TURN_DEG))
    level = float(room.harmonics[0].mean() * 0.282095 + 0.35 * room.lamp_irradiance.mean())
    return Photo(
        skin="young_lightskinned_male2",
        tint=np.array([1.06448, 1.089378, 1.124896]),
        detail=np.array([0.7, 0.3, 0.3, 0.6]),
        nails=np.zeros(4),
        ring=np.zeros(4),
        tattoo=np.zeros(4),
        sheen=0.25,
        room=ROOM,
        turn=turn,
        gain=np.full(3, 1 / level),
        key_direction=turn.T @ room.lamp_direction,
        key_colour=room.lamp_irradiance / level,
        key_soft=5 / 1024,
        lamp_m=np.array([0.5, 1.0, 1.0]),
        lamp_colour=np.zeros(3),
        backdrop=True,
        backdrop_blur=1.0,
        backdrop_zoom=1.4,
        picture_gain=np.ones(3),
        weave=np.array([900.0, 0.6, 0.5, 0.0]),
        wood=np.array([0.3, 0.6, 0.2, 0.4]),
        colours=np.array([0.9, 0.8]),
        seed=2.821486,
    )


def demo_sensor() -> Sensor:
    """A fair webcam by day, with little noise."""
    return Sensor(
        scale=1.0,
        blur=0.6,
        glare=0.03,
        fall_off=0.12,
        brightness=0.16,
        highlights=0.8,
        headroom=2.0,
        shot=2e-4,
        read=4e-6,
        balance=np.array([1.02, 1.0, 0.97]),
        matrix=np.eye(3),
        contrast=0.25,
        gamma=1.0,
        lift=0.0,
        smooth=2,
        sharpen=0.3,
        halo=1.0,
        quality=95,
        crf=None,
    )


def classical(item: Instrument) -> bool:
    """Whether an instrument may be the demo's: a wooden guitar of full size."""
    return item.strings == 6 and not item.solid and item.top[0] > 0.3 and item.top[0] > 1.3 * item.top[2]


def demo_camera(setting: Setting, azimuth_deg: float = 38.0) -> Camera:
    """Upper body with the head, a little from the headstock's side."""
    head = setting.player().heads[setting.body.bone("head")]
    target = np.array([0.5 * head[0] - 0.02, 0.60 * head[1] + 0.04, 0.12])
    return look_at(target, azimuth_deg, 6.0, 1.34, 0.0, SIZE_PX, 62.0)


def frames(bodies: Bodies, renderer: Renderer, times_s: list[float] | None = None) -> Iterator[Frame]:
    """Frames of the video, or only those at the given rising times."""
    setting = demo_setting(bodies)
    score = demo_score(setting)
    performance = Performance(setting, score, np.random.default_rng([SEED, 3]), sway_deg=0.9, tremble_deg=0.8)
    figure: Figure | None = None
    camera, photo, sensor, photographer = (
        demo_camera(setting),
        demo_photo(),
        demo_sensor(),
        PhotoPass(renderer),
    )
    for time_s in times_s or [k / RATE_HZ for k in range(round(SECONDS * RATE_HZ))]:
        player = performance.at(time_s)
        if figure is None:
            figure = make_figure(player, demo_look(), np.random.default_rng([SEED, 11]), chair=True)
        light, parts = photographer.render(moved(figure, player), camera, photo, NO_PICTURE)
        grain = np.random.default_rng([SEED, round(time_s * RATE_HZ)])
        picture, _ = photograph(light, sensor, grain, parts)
        truth = [time_s]
        for side in SIDES:
            state = player.hand(side)
            truth += wrist_angles_deg(state.forearm_frame, state.hand_frame)[:2]
        truth += (1000 * player.hand("left").lift_m).tolist()
        yield Frame(picture, player, tuple(truth))


def write(bodies: Bodies, folder: Path = FOLDER) -> None:
    """The video as H.264 in MP4 and its truth as CSV."""
    import av

    folder.mkdir(parents=True, exist_ok=True)
    options = {"crf": "22", "preset": "slow"}
    with (
        av.open(str(folder / "demo.mp4"), "w", options={"movflags": "faststart"}) as container,
        (folder / "truth.csv").open("w", newline="", encoding="utf-8") as file,
    ):
        stream: Any = container.add_stream("libx264", rate=RATE_HZ, options=options)
        stream.width, stream.height = SIZE_PX
        stream.pix_fmt = "yuv420p"
        table = csv.writer(file, lineterminator="\n")
        table.writerow(COLUMNS)
        for frame in frames(bodies, Renderer(bodies)):
            table.writerow([f"{frame.truth[0]:.4f}", *(f"{value:.2f}" for value in frame.truth[1:])])
            picture = av.VideoFrame.from_ndarray(np.ascontiguousarray(frame.image_bgr), format="bgr24")
            container.mux(stream.encode(picture))
        container.mux(stream.encode())


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--bodies", type=Path, default=default_path())
    parser.add_argument("--out", type=Path, default=FOLDER)
    options = parser.parse_args()
    write(load_bodies(options.bodies), options.out)
    print(f"{options.out / 'demo.mp4'}: {(options.out / 'demo.mp4').stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()

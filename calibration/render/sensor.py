"""From light to a webcam's picture: lens, sensor noise before demosaicing, white balance, tone, denoising, sharpening
and compression. Light is linear RGB float32 (h, w, 3); pictures are uint8 BGR."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.render.imaging import jpeg, noise_tile
from posturewatch.model.arrays import FloatArray

Light = NDArray[np.float32]
Picture = NDArray[np.uint8]

FULL = 16383.0  # steps of the sensor's converter
TILE_PX = 1700
VIDEO_SHARE = 0.12  # of pictures that went through a video's compression


@dataclass(frozen=True)
class Sensor:
    """A webcam's settings. Lengths in pixels of a picture 1280 wide.

    scale: resolution of the sensor as a share of the picture's; blur, glare: lens; fall_off: of brightness towards the
    corners; brightness: mean of the picture, linear; highlights: the most that the brightest tenth of the player may
    be; headroom: of highlights above white before they clip; shot: noise variance of a pixel at full scale, read: of a
    dark one, both as a share of full scale; balance: (3,) error of the white balance; matrix: (3, 3) from sensor
    colours; contrast, gamma, lift: of the tone curve; smooth: how the camera denoises (0 not, 1 colours, 2 gently, 3
    strongly); sharpen and halo: amount and width; quality: of JPEG; crf: of H.264 or None.
    """

    scale: float
    blur: float
    glare: float
    fall_off: float
    brightness: float
    highlights: float
    headroom: float
    shot: float
    read: float
    balance: FloatArray
    matrix: FloatArray
    contrast: float
    gamma: float
    lift: float
    smooth: int
    sharpen: float
    halo: float
    quality: int
    crf: int | None


def sample_sensor(rng: np.random.Generator) -> Sensor:
    """A random webcam: mostly fair, sometimes dark and noisy, soft, or strongly compressed."""
    dark = rng.random() < 0.14
    shot = 10 ** rng.uniform(-4.5, -3.0) if not dark else 10 ** rng.uniform(-3.4, -2.4)
    saturation = rng.uniform(0.65, 1.25)
    grey = np.array([0.25, 0.6, 0.15])
    warm = rng.normal(0, 0.07)
    recorded = rng.random() < VIDEO_SHARE
    return Sensor(
        scale=float(rng.choice([1.0, rng.uniform(0.4, 0.9)], p=[0.62, 0.38])),
        blur=float(rng.choice([rng.uniform(0.2, 0.8), rng.uniform(0.8, 2.4)], p=[0.7, 0.3])),
        glare=float(rng.uniform(0, 0.12) if rng.random() < 0.5 else 0.0),
        fall_off=float(rng.uniform(0, 0.35)),
        brightness=float(np.exp(rng.uniform(np.log(0.06), np.log(0.25))) * (0.65 if dark else 1.0)),
        highlights=float(rng.uniform(0.35, 1.1)),
        headroom=float(rng.uniform(1.0, 3.0)),
        shot=float(shot),
        read=float(shot * rng.uniform(0.01, 0.08)),
        balance=1 + np.array([warm, rng.normal(0, 0.015), -warm]) + rng.normal(0, 0.015, 3),
        matrix=saturation * np.eye(3) + (1 - saturation) * grey,
        contrast=float(rng.uniform(0, 0.55)),
        gamma=float(rng.uniform(0.85, 1.15)),
        lift=float(rng.choice([0.0, rng.uniform(0, 0.06), rng.uniform(0.05, 0.2)], p=[0.5, 0.32, 0.18])),
        smooth=int(rng.choice(4, p=[0.2, 0.35, 0.3, 0.15] if not dark else [0.0, 0.35, 0.3, 0.35])),
        sharpen=float(rng.uniform(0.2, 1.4) if rng.random() < 0.55 else 0.0),
        halo=float(rng.uniform(0.8, 2.2)),
        quality=int(rng.choice([rng.integers(70, 97), rng.integers(32, 70)], p=[0.7, 0.3])),
        crf=int(rng.integers(24, 37)) if recorded else None,
    )


def photograph(
    light: Light, sensor: Sensor, grain: np.random.Generator, parts: Picture
) -> tuple[Picture, bytes]:
    """The picture and its compressed file; ``grain`` draws the noise, parts tell where the player is, by whom exposure
    is mostly metered."""
    h, w = light.shape[:2]
    size = (max(int(w * sensor.scale) // 2 * 2, 64), max(int(h * sensor.scale) // 2 * 2, 64))
    small = light if size == (w, h) else cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    seen = _lens(np.asarray(small, np.float32), sensor, parts)
    raw = _sense(seen, sensor, grain)
    picture = _finish(_develop(raw, sensor), sensor)
    if size != (w, h):
        picture = np.asarray(cv2.resize(picture, (w, h), interpolation=cv2.INTER_LINEAR), np.uint8)
    if sensor.crf is not None:
        picture = _as_recorded(picture, sensor.crf)
    data = jpeg(picture, sensor.quality)
    return np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), np.uint8), data


def _lens(light: Light, sensor: Sensor, parts: Picture) -> Light:
    h, w = light.shape[:2]
    sigma = max(sensor.blur * w / 1280, 0.3)
    out = cv2.GaussianBlur(light, (0, 0), sigma)
    few = cv2.resize(out, (max(w // 16, 8), max(h // 16, 8)), interpolation=cv2.INTER_AREA)
    player = cv2.resize((parts > 0).astype(np.float32), (few.shape[1], few.shape[0]))
    level = np.average(np.log(few.mean(2) + 3e-3), weights=0.35 + player)
    gain = sensor.brightness / float(np.exp(level))
    lit = few.mean(2)[player > 0.5]
    if lit.size:  # highlights on the player count more than shadows: cameras protect faces
        gain = min(gain, sensor.highlights / max(float(np.percentile(lit, 90)), 1e-3))
    if sensor.glare > 0:
        veil = cv2.resize(cv2.GaussianBlur(np.minimum(few, 12.0), (0, 0), 3.0), (w, h))
        out = cv2.addWeighted(out, 1 - sensor.glare, veil, sensor.glare, 0)
    y, x = np.linspace(-1, 1, h, dtype=np.float32)[:, None], np.linspace(-1, 1, w, dtype=np.float32)
    shade = np.float32(gain) * (1 - np.float32(sensor.fall_off / 2) * (x * x + y * y))
    return np.asarray(out * shade[:, :, None], np.float32)


def _sense(light: Light, sensor: Sensor, grain: np.random.Generator) -> NDArray[np.uint16]:
    """(h, w) what the sensor counts behind its colour filters: blue and green, green and red."""
    h, w = light.shape[:2]
    mosaic = np.empty((h, w), np.float32)
    mosaic[::2, ::2], mosaic[::2, 1::2] = light[::2, ::2, 0], light[::2, 1::2, 1]
    mosaic[1::2, ::2], mosaic[1::2, 1::2] = light[1::2, ::2, 1], light[1::2, 1::2, 2]
    np.clip(mosaic, 0, sensor.headroom, out=mosaic)
    y, x, channel = (int(grain.integers(0, n)) for n in (TILE_PX - h, TILE_PX - w, 3))
    noise = noise_tile()[y : y + h, x : x + w, channel]
    mosaic += np.sqrt(sensor.shot * mosaic + sensor.read) * noise
    return np.asarray(np.clip((mosaic * 0.9 / sensor.headroom + 0.05) * FULL, 0, FULL), np.uint16)


def _develop(raw: NDArray[np.uint16], sensor: Sensor) -> Picture:
    # OpenCV names the pattern by its second row: RG/GB is its BayerBG.
    linear = cv2.cvtColor(raw, cv2.COLOR_BayerBG2BGR).astype(np.float32)
    linear = (linear / FULL - 0.05) * (sensor.headroom / 0.9)
    linear *= sensor.balance[::-1].astype(np.float32)
    corrected = cv2.transform(linear, sensor.matrix[::-1, ::-1].astype(np.float32))
    steps = np.clip(corrected * (4095 / sensor.headroom), 0, 4095).astype(np.uint16)
    return tone_table(sensor)[steps]


def tone_table(sensor: Sensor) -> Picture:
    """(4096,) from linear steps up to the headroom to grey levels."""
    x = np.linspace(0, sensor.headroom, 4096)
    knee = 0.7
    over = np.maximum(x - knee, 0)
    reach = sensor.headroom - knee
    soft = np.where(
        x > knee, knee + (1 - knee) * (1 - np.exp(-over / (1 - knee))) / (1 - np.exp(-reach / (1 - knee))), x
    )
    y = np.clip(soft, 0, 1) ** (sensor.gamma / 2.2)
    y = (1 - sensor.contrast) * y + sensor.contrast * (3 * y**2 - 2 * y**3)
    y = sensor.lift + (1 - sensor.lift) * y
    return np.asarray(np.clip(y * 255 + 0.5, 0, 255), np.uint8)


def _finish(picture: Picture, sensor: Sensor) -> Picture:
    """The camera's own denoising and sharpening."""
    if sensor.smooth >= 1:
        bright, *colour = cv2.split(cv2.cvtColor(picture, cv2.COLOR_BGR2YCrCb))
        if sensor.smooth == 2:
            bright = cv2.bilateralFilter(bright, 3, 14, 2)
        elif sensor.smooth == 3:
            bright = cv2.bilateralFilter(cv2.medianBlur(bright, 3), 5, 22, 3)
        width = 1.0 + 0.8 * sensor.smooth
        merged = cv2.merge([bright, *(cv2.GaussianBlur(c, (0, 0), width) for c in colour)])
        picture = np.asarray(cv2.cvtColor(merged, cv2.COLOR_YCrCb2BGR), np.uint8)
    if sensor.sharpen > 0:
        smooth = cv2.GaussianBlur(picture, (0, 0), sensor.halo)
        picture = np.asarray(
            cv2.addWeighted(picture, 1 + sensor.sharpen, smooth, -sensor.sharpen, 0), np.uint8
        )
    return picture


def _as_recorded(picture: Picture, crf: int) -> Picture:
    """Compressed as a video's frame by H.264, or about as strongly as JPEG where PyAV is not installed."""
    try:
        import av
    except ImportError:
        data = jpeg(picture, 62 - crf)
        return np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), np.uint8)
    encoder: Any = av.CodecContext.create("libx264", "w")
    encoder.height, encoder.width = picture.shape[:2]
    encoder.pix_fmt, encoder.thread_count = "yuv420p", 1
    encoder.options = {"crf": str(crf), "preset": "ultrafast", "tune": "zerolatency"}
    encoder.time_base = Fraction(1, 30)
    packets = encoder.encode(av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="bgr24"))
    packets += encoder.encode(None)
    decoder: Any = av.CodecContext.create("h264", "r")
    frames = [frame for packet in [*packets, None] for frame in decoder.decode(packet)]
    return np.asarray(frames[0].to_ndarray(format="bgr24"), np.uint8) if frames else picture

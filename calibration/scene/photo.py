"""What makes a scene look photographed: skin and its details, the room's light, cloth, wood, the camera's settings.

Drawn from a stream of its own, so that the scenes themselves stay what their seeds made them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.body.geometry import rotation_y, unit
from calibration.scene.assets import ROOMS, SKINS, room_light, skin_tone
from calibration.scene.looks import Light, Look
from posturewatch.model.arrays import FloatArray

PANORAMA_SHARE = 0.5
DARKEST, LIGHTEST = np.array([0.75, 0.7, 0.62]), np.array([1.3, 1.35, 1.45])


@dataclass(frozen=True)
class Photo:
    """Beyond ``Look`` and ``Light``.

    skin: its name in ``assets.SKINS``; tint: (3,) by what its colours are multiplied; detail: (4,) strengths of
    creases, hair, veins and mottling; nails: (4,) colour of the polish and its share; ring: (4,) finger (1 thumb to
    5 little, 0 none), side (+1 left), place along the first bone, tone; tattoo: (4,) side (+1 left, 0 none), start and
    end as arm coordinates, seed; sheen: of the skin, 0 to 1.
    turn: (3, 3) from world axes into the panorama's; gain: (3,) of the panorama; lamp_gain: of its lamp;
    key_direction, key_colour, key_soft: of the light that casts shadows; backdrop: panorama shown behind the player,
    with its blur as a mip level and the magnification of its field of view; picture_gain: brightness of the painted
    room where that is shown; weave: (4,) of the shirt: threads a metre, depth of folds, of cuffs' folds, plaid share.
    wood: (4,) gloss, grain, wear, roughness; colours: (2,) how colourful clothes and instrument, and the painted room,
    are left, 0 grey to 1.
    """

    skin: str
    tint: FloatArray
    detail: FloatArray
    nails: FloatArray
    ring: FloatArray
    tattoo: FloatArray
    sheen: float
    room: str
    turn: FloatArray
    gain: FloatArray
    key_direction: FloatArray
    key_colour: FloatArray
    key_soft: float
    lamp_m: FloatArray
    lamp_colour: FloatArray
    backdrop: bool
    backdrop_blur: float
    backdrop_zoom: float
    picture_gain: FloatArray
    weave: FloatArray
    wood: FloatArray
    colours: FloatArray
    seed: float


def _skin(rng: np.random.Generator, look: Look) -> tuple[str, FloatArray]:
    """The skin nearest in tone to the look's, and what brings it there, within limits."""
    tones = np.array([skin_tone(name) for name in SKINS])
    apart = np.abs(np.log(tones / look.skin)).sum(1) + rng.exponential(0.5, len(SKINS))
    chosen = int(apart.argmin())
    wished = np.clip(look.skin / tones[chosen], 0.45, 1.5)
    even = wished.mean() * (1 + 0.35 * (wished / wished.mean() - 1))  # mostly its brightness
    return SKINS[chosen], np.clip(even * (1 + rng.normal(0, 0.03, 3)), 0.4, 1.6)


@dataclass(frozen=True)
class _Lit:
    room: str
    turn: FloatArray
    white: FloatArray
    gain: FloatArray
    key: FloatArray
    colour: FloatArray


def _lit(rng: np.random.Generator, light: Light) -> _Lit:
    """A room turned at random, and the light that casts shadows: its own lamp, or one elsewhere."""
    name = ROOMS[int(rng.integers(len(ROOMS)))]
    room = room_light(name)
    turn = rotation_y(rng.uniform(0, 2 * np.pi))
    white = 1 + rng.normal(0, 0.05) * np.array([1.0, 0.1, -1.2]) + rng.normal(0, 0.015, 3)
    level = float(room.harmonics[0].mean() * 0.282095 + 0.35 * room.lamp_irradiance.mean())
    gain = white / max(level, 1e-3)
    key = turn.T @ room.lamp_direction
    colour = room.lamp_irradiance * gain * rng.uniform(0.6, 1.3)
    if rng.random() < 0.4:
        key = light.key_direction
        colour = light.key_colour / light.key_colour.mean() * rng.uniform(0.2, 1.8)
        gain = gain * rng.uniform(0.35, 1.0)
    if key[1] < -0.2:
        key = unit(key * [1.0, -0.5, 1.0])
    return _Lit(name, turn, white, gain, key, colour)


def sample_photo(rng: np.random.Generator, look: Look, light: Light) -> Photo:
    """A photographed appearance of a scene."""
    skin, tint = _skin(rng, look)
    lit = _lit(rng, light)
    tattooed = rng.random() < 0.08
    start = rng.uniform(1.1, 1.8)
    return Photo(
        skin=skin,
        tint=tint,
        detail=np.array(
            [
                rng.uniform(0.2, 1.2),
                rng.uniform(0, 1) ** 2 * (1.0 if rng.random() < 0.6 else 0.2),
                rng.uniform(0, 1) ** 2,
                rng.uniform(0.2, 1.0),
            ]
        ),
        nails=np.append(rng.uniform(0.02, 0.8, 3), rng.uniform(0.5, 1.0) if rng.random() < 0.08 else 0.0),
        ring=np.array(
            [
                rng.choice([2, 3, 4, 4, 4, 5, 1]) if rng.random() < 0.2 else 0,
                rng.choice([-1, 1]),
                rng.uniform(0.3, 0.55),
                rng.uniform(0, 1),
            ]
        ),
        tattoo=np.array(
            [rng.choice([-1, 1]) * tattooed, start, start + rng.uniform(0.15, 0.9), rng.uniform(0, 50)]
        ),
        sheen=float(rng.uniform(0, 1) ** 1.5),
        room=lit.room,
        turn=lit.turn,
        gain=lit.gain,
        key_direction=lit.key,
        key_colour=lit.colour,
        key_soft=float(rng.choice([rng.uniform(0.4, 2.0), rng.uniform(2.0, 9.0)], p=[0.3, 0.7]) / 1024),
        lamp_m=light.lamp_m,
        lamp_colour=light.lamp_colour * (1.0 if rng.random() < 0.6 else 0.0),
        backdrop=bool(rng.random() < PANORAMA_SHARE),
        backdrop_blur=float(rng.choice([0.0, rng.uniform(0, 1.5), rng.uniform(1.5, 3.5)], p=[0.5, 0.3, 0.2])),
        backdrop_zoom=float(rng.uniform(1.0, 2.4)),
        picture_gain=rng.uniform(0.25, 1.6) * lit.white,
        weave=np.array(
            [rng.uniform(500, 1600), rng.uniform(0.0, 1.0), rng.uniform(0, 1), float(rng.random() < 0.12)]
        ),
        wood=np.array(
            [rng.uniform(0, 1) ** 1.5, rng.uniform(0.2, 1), rng.uniform(0, 1) ** 2, rng.uniform(0, 1)]
        ),
        colours=rng.uniform(0.15, 1.0, 2) * [1.0, 0.8],
        seed=float(rng.uniform(0, 40)),
    )

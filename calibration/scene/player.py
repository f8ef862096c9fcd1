"""A seated or standing player holding an instrument.

The player is laid out right-handed (left hand frets) and mirrored at the end for a left-handed one. World axes
as in ``bodies``: x to the player's left, y up, z to the front, metres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calibration.body.arm import Arm
from calibration.body.bodies import Body
from calibration.body.hand_pose import bone_suffix
from calibration.body.stance import Stance, fill_turns, sample_stance
from calibration.scene.hands import HandState, fret, pluck, sample_wrist
from calibration.scene.instrument import Instrument, random_instrument
from calibration.scene.neck import NO_HABITS, Habits, Touch, sample_habits
from posturewatch.model.arrays import FloatArray

MIRROR = np.diag([-1.0, 1.0, 1.0])


@dataclass(frozen=True)
class Player:
    """A posed player. turns: (B, 3, 3) world turns of the bones; heads: (B, 3); instrument_matrix: (3, 4); bow: (3, 4)
    matrix of a bow of length bow_m, if there is one."""

    body: Body
    handedness: str
    turns: FloatArray
    heads: FloatArray
    hands: tuple[HandState, HandState]
    instrument: Instrument | None
    instrument_matrix: FloatArray
    seated: bool
    bow: FloatArray | None = None
    bow_m: float = 0.0

    def hand(self, side: str) -> HandState:
        return next(hand for hand in self.hands if hand.side == side)

    def landmarks_m(self, side: str) -> FloatArray:
        """(21, 3) joints in world coordinates."""
        state = self.hand(side)
        local = state.hand(self.body).landmarks(state.fingers, state.thumb)
        return np.asarray(
            local @ state.hand_frame.T + self.heads[self.body.bone("wrist" + bone_suffix(side))]
        )

    def joint_m(self, name: str, side: str) -> FloatArray:
        return np.asarray(self.heads[self.body.bone(name + bone_suffix(side))])


@dataclass(frozen=True)
class Setting:
    """A right-handed player before assembly: what videos move."""

    body: Body
    stance: Stance
    item: Instrument
    matrix: FloatArray
    fretting: HandState
    plucking: HandState
    touch: Touch

    def player(self) -> Player:
        return assemble(self.body, self.stance, self.item, self.matrix, (self.fretting, self.plucking))


def assemble(
    body: Body,
    stance: Stance,
    item: Instrument | None,
    matrix: FloatArray,
    hands: tuple[HandState, HandState],
) -> Player:
    """The posed skeleton of a right-handed player."""
    turns = dict(stance.turns)
    for state in hands:
        turns |= Arm(body, state.side).turns(state.upper, state.fore, state.forearm_frame)
        turns |= state.hand(body).turns(state.hand_frame, state.fingers, state.thumb)
    full = fill_turns(body, turns)
    heads = body.skeleton(full, np.zeros(3))
    return Player(body, "right", full, heads, hands, item, matrix, stance.seated)


def mirrored(player: Player) -> Player:
    """The same player with left and right exchanged; the instrument's frame becomes left-handed."""
    labels = player.body.shared.bone_labels
    other = {".L": ".R", ".R": ".L"}
    swap = [labels.index(label[:-2] + other.get(label[-2:], label[-2:])) for label in labels]
    turns = MIRROR @ player.turns[swap] @ MIRROR
    flip = {"left": "right", "right": "left"}
    hands = tuple(
        replace(
            hand,
            side=flip[hand.side],
            upper=MIRROR @ hand.upper,
            fore=MIRROR @ hand.fore,
            forearm_frame=MIRROR @ hand.forearm_frame,
            hand_frame=MIRROR @ hand.hand_frame,
        )
        for hand in player.hands
    )
    return replace(
        player,
        handedness=flip[player.handedness],
        turns=turns,
        heads=player.body.skeleton(turns, player.heads[0]),
        hands=(hands[0], hands[1]),
        instrument_matrix=MIRROR @ player.instrument_matrix,
        bow=None if player.bow is None else MIRROR @ player.bow,
    )


def sample_setting(
    body: Body,
    rng: np.random.Generator,
    wrists: tuple[tuple[float, float], tuple[float, float]] | None = None,
    tries: int = 200,
    habits: Habits = NO_HABITS,
    plucking_cup: float = 0.0,
) -> Setting:
    """A random plausible player. Wrist angles are kept while arms, stance and instrument are tried anew.

    ``wrists`` fixes flexion and deviation of the fretting and of the plucking hand. habits: of the fretting hand;
    plucking_cup: the other palm's arch in radians.
    Raises RuntimeError when nothing plausible is found.
    """
    fret_wrist, pluck_wrist = wrists or (sample_wrist(rng, "fretting"), sample_wrist(rng, "plucking"))
    for attempt in range(tries):
        if wrists is None and attempt and attempt % 12 == 0:
            fret_wrist = sample_wrist(rng, "fretting")
        if wrists is None and attempt and attempt % 6 == 0:
            pluck_wrist = sample_wrist(rng, "plucking")
        stance = sample_stance(body, rng)
        item = random_instrument(rng)
        fretting = fret(body, stance, item, fret_wrist, rng, habits)
        if fretting is None:
            continue
        state, touch, matrix = fretting
        for _ in range(3):
            plucking = pluck(body, stance, item, matrix, pluck_wrist, rng, plucking_cup)
            if plucking is not None:
                return Setting(body, stance, item, matrix, state, plucking, touch)
    raise RuntimeError(f"no plausible pose found for body {body.identity}")


def sample_player(
    body: Body, rng: np.random.Generator, left_handed: bool, habits: Habits | None = None
) -> Player:
    """A random plausible player. habits: of the fretting hand, drawn where left out."""
    player = sample_setting(body, rng, habits=habits or sample_habits(rng)).player()
    return mirrored(player) if left_handed else player

"""What a player does who is told one thing about the view: the literal reading of the page's sentences.

The sentences are those of `web/words/setup/en.js`. Where one leaves a choice, this is taken:

- Carried round by the degrees told, the camera keeps its height, its distance and the spot that it looks at. The head
  of the instrument is on the side of the fretting hand: the player's left, of left-handed players the right.
- "Closer": to six tenths of the distance, or as near as both hands stay in the picture. "Back, until a hand's length
  of forearm is in it" (forearm) and "so that the forearm fits in too" (further): along the line of sight, just until
  then, as the player sees it in the preview; by 15 and by 40 per cent at least.
- "Turn the camera so that the whole hand is in the picture": where it stands, just so far. "If it is, closer": as for
  closer. "Turn the camera a little" (whole hand): by 20 degrees at most, and where the hand is not whole then, moved
  back until it is.
- "Sit with both hands in the picture, about a metre and a half away, in good light; wipe the lens" (no hands): all of
  it, as far as it is not so already.
- "A lamp in front of you": the darkness goes, and a lamp shines from ahead, above the picture. "On something firm, wipe
  its lens": focus is right; what moved is blurred as before. "If a sleeve covers it, push it up": of that hand, to just
  below the elbow, with nothing round the wrist; if none does, there is nothing to do.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.dataset.film import Film
from calibration.dataset.scenes import dressed
from calibration.evaluate.moved_view import (
    inside,
    nearer,
    round_player,
    turned_inside,
    until_inside,
)
from calibration.scene.player import Player
from calibration.scene.view import View
from posturewatch.comfort.looks import Advice, Help
from posturewatch.model.arrays import FloatArray
from posturewatch.model.observation import SIDES, Side

__all__ = ["SLEEVE_UP", "facing", "follow", "forearm_points", "hand_points"]

SLEEVE_UP = 1.1  # arm coordinate: 1 is the elbow, 2 the wrist
A_LITTLE_DEG = 20.0
AWAY_M, TOO_FAR_M = 1.5, 1.8
CLOSER = (0.6, 0.7, 0.8, 0.9)
LEAST_BACK = {Help.FOREARM: 1.15, Help.FURTHER: 1.4}
LAMP_M, LAMP = (0.0, 0.9, 1.3), 1.2


def facing(player: Player) -> int:
    """1 where the head of the instrument is on the player's left, else -1."""
    return 1 if player.handedness == "right" else -1


def hand_points(players: list[Player], side: Side) -> FloatArray:
    """(N, 3) a hand's joints at all moments."""
    return np.concatenate([one.landmarks_m(side) for one in players])


def forearm_points(players: list[Player], side: Side) -> FloatArray:
    """(N, 3) the places a hand's length up the forearm at all moments, or the elbows where that is nearer."""
    out = []
    for one in players:
        joints = one.landmarks_m(side)
        wrist, elbow = joints[0], one.joint_m("lowerarm01", side)
        length = float(np.linalg.norm(np.diff(joints[[0, 9, 10, 11, 12]], axis=0), axis=1).sum())
        out.append(wrist + min(length / float(np.linalg.norm(elbow - wrist)), 1.0) * (elbow - wrist))
    return np.array(out)


def follow(advice: Advice, film: Film, players: list[Player]) -> Film | None:
    """The film as it is once a player did what was said; None where there was nothing left to do. players: the player
    at some moments of the film."""
    side = advice.side
    if advice.help is Help.LIGHT:
        return _lit(film)
    if advice.help is Help.SHARPER:
        return _sharp(film)
    if advice.help is Help.SLEEVE and side is not None:
        return _sleeve_up(film, side)
    view = moved_as_told(advice, film.view, players)
    if advice.help is Help.SHOW_HANDS and side is None:
        changed = _lit(film)
        changed = _sharp(changed or film) or changed
        return changed if view is None else replace(changed or film, view=view)
    return None if view is None else replace(film, view=view)


def moved_as_told(advice: Advice, view: View, players: list[Player]) -> View | None:
    """The camera after the move that was told; None where none was, or there was nothing to do."""
    both = np.concatenate([hand_points(players, one) for one in SIDES])
    hand = both if advice.side is None else hand_points(players, advice.side)
    what, degrees = advice.help, advice.move_deg or 0.0
    if what in (Help.TOWARDS_HEAD, Help.TOWARDS_FRONT):
        sign = 1 if what is Help.TOWARDS_HEAD else -1
        return round_player(view, facing(players[0]) * sign * degrees)
    if what is Help.CLOSER:
        return _closer(view, both)
    if what in LEAST_BACK and advice.side is not None:
        arm = np.concatenate([hand, forearm_points(players, advice.side)])
        return until_inside(view, arm, LEAST_BACK[what])
    if what is Help.WHOLE_HAND:
        return until_inside(turned_inside(view, hand, A_LITTLE_DEG), hand)
    if what is Help.SHOW_HANDS:
        moved = view
        if advice.side is None and view.distance_m > TOO_FAR_M:
            moved = nearer(view, AWAY_M / view.distance_m)
        if not inside(moved, hand):
            return until_inside(turned_inside(moved, hand), hand)
        return _closer(view, both) if advice.side is not None else None if moved is view else moved
    return None


def _closer(view: View, hands_m: FloatArray) -> View | None:
    return next((near for by in CLOSER if inside(near := nearer(view, by), hands_m)), None)


def _sharp(film: Film) -> Film | None:
    if film.hindrance.sharp:
        return None
    return replace(film, hindrance=replace(film.hindrance, blur_px=0.0, sharp=True))


def _lit(film: Film) -> Film | None:
    place, colour = np.array(LAMP_M), np.full(3, LAMP)
    if film.hindrance.dim == 1.0 and np.array_equal(film.light.lamp_m, place):
        return None
    photo = film.photo
    return replace(
        film,
        light=replace(film.light, lamp_m=place, lamp_colour=colour),
        photo=None if photo is None else replace(photo, lamp_m=place, lamp_colour=colour),
        hindrance=replace(film.hindrance, dim=1.0),
    )


def _sleeve_up(film: Film, side: Side) -> Film | None:
    look, place = film.figure.look, SIDES.index(side)
    if look.sleeves[place] <= SLEEVE_UP and look.bands[place] is None:
        return None
    sleeves, bands = list(look.sleeves), list(look.bands)
    sleeves[place], bands[place] = min(look.sleeves[place], SLEEVE_UP), None
    return dressed(film, replace(look, sleeves=(sleeves[0], sleeves[1]), bands=(bands[0], bands[1])))

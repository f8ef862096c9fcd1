"""The tracker: a frame in, an observation out."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from types import TracebackType
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import Array
from posturewatch.model.frame import Frame
from posturewatch.model.network_outputs import FingerOutputs
from posturewatch.model.observation import (
    SIDES,
    BodyObservation,
    ForearmAxis,
    HandObservation,
    Observation,
    Side,
    other_side,
)
from posturewatch.tracking.agreement import UNJUDGED, Judgement, SideView, cross_entropy_of, landmark_error
from posturewatch.tracking.effort import LIVE, VIDEO
from posturewatch.tracking.fingers import FingerNet, joints_px
from posturewatch.tracking.forearm import ForearmNet
from posturewatch.tracking.hands import Detection
from posturewatch.tracking.sides import network_evidence
from posturewatch.tracking.still import StillFinder
from posturewatch.tracking.turns import ForearmTurns
from posturewatch.tracking.video import VideoFinder

__all__ = ["Finder", "Tracker", "TrackerMode"]

#: Below this logit of a hand, or of one of that side, the finger network doubts; of hands that play it is 5 to 15.
_SURE = 3.0

TrackerMode = Literal["still", "video", "live"]


class Finder(Protocol):
    """Finds hands and body in an image taken at that time: side, confidence and landmarks of each hand, at most one of
    each side, and the body or None."""

    def find(
        self, image_bgr: NDArray[np.uint8], time_s: float
    ) -> tuple[list[tuple[Side, float, Detection]], BodyObservation | None]: ...

    def close(self) -> None: ...


class Tracker:
    """Hands, forearms and body of each frame.

    Not for use from several threads at once; one tracker a process or thread. `close` may be called twice.

    Parameters
    ----------
    mode
        "still" for images that have nothing to do with each other; "video" for every frame of a video, the same result
        on every run; "live" for a camera, within the time between two frames.
    forearm
        The network for the forearm's axis; without it `HandObservation.forearm` is None.
    fingers
        The network for the fingers; without it `HandObservation.fingers` is None.
    mirrored
        The images are mirrored already, as selfie videos are. Sides stay anatomical; pixels, metres and the forearm's
        axis are those of the image as it is.
    finder
        What finds hands and body, where it is not the one of that mode.

    Raises
    ------
    ValueError
        An unknown mode.
    UnavailableError
        The tracking library or its models are missing.
    """

    def __init__(
        self,
        mode: TrackerMode = "still",
        *,
        forearm: ForearmNet | None = None,
        fingers: FingerNet | None = None,
        mirrored: bool = False,
        finder: Finder | None = None,
    ) -> None:
        if mode not in ("still", "video", "live"):
            raise ValueError(f"a tracker's mode is 'still', 'video' or 'live', got {mode!r}")
        self.mode = mode
        self.mirrored = mirrored
        self._forearm = forearm
        self._fingers = fingers
        self._turns = ForearmTurns()
        self._savings: frozenset[str] = frozenset()
        self._before: Observation | None = None
        self._finder: Finder
        if finder is not None:
            self._finder = finder
        elif mode == "still":
            self._finder = StillFinder(mirrored, self._judge if forearm or fingers else None)
        else:
            self._finder = VideoFinder(mirrored, VIDEO if mode == "video" else LIVE)
        self._video = self._finder if isinstance(self._finder, VideoFinder) else None

    def observe(self, frame: Frame) -> Observation:
        """Everything that is seen in a frame; the frames of a video or camera one after the other."""
        found, body = self._finder.find(frame.image_bgr, frame.time_s)
        return self._observation(frame, found, body)

    def ease(self, savings: frozenset[str]) -> None:
        """From the next frame on, does less often what is named there (`posturewatch.model.savings`); without effect on
        single images."""
        if self._video is not None:
            self._savings = savings
            self._video.ease(savings)

    def _look(
        self, image_bgr: NDArray[np.uint8], looks: list[tuple[Array, Side]], spared: Collection[int] = ()
    ) -> tuple[list[ForearmAxis | None], list[FingerOutputs[Array] | None]]:
        """What both networks see of hands, each as landmarks and the side it looks like; None without a network, and of
        the forearms of those that are spared."""
        places = [place for place in range(len(looks)) if place not in spared]
        if self._forearm is not None and places:
            self._forearm.start(image_bgr, [looks[place] for place in places])
        if self._fingers is not None and looks:
            self._fingers.start(image_bgr, looks)
        axes: list[ForearmAxis | None] = [None] * len(looks)
        fingers: list[FingerOutputs[Array] | None] = [None] * len(looks)
        if self._forearm is not None and places:
            for place, axis in zip(places, self._forearm.wait(), strict=True):
                axes[place] = axis
        if self._fingers is not None and looks:
            fingers = [*self._fingers.wait()]
        return axes, fingers

    def _judge(self, image_bgr: NDArray[np.uint8], landmarks_px: list[Array]) -> list[Judgement]:
        """What both networks make of hands, each looked at as either side."""
        looks: list[tuple[Array, Side]] = [(each, side) for each in landmarks_px for side in SIDES]
        seen = list(zip(looks, *self._look(image_bgr, looks), strict=True))
        judged = []
        for left, right in zip(seen[::2], seen[1::2], strict=True):
            evidence = (_evidence(*left[1:]) - _evidence(*right[1:])) / 2
            if self.mirrored:
                left, right, evidence = right, left, -evidence
            judged.append(Judgement(_view(*left), _view(*right), evidence))
        return judged

    def _observation(
        self, frame: Frame, found: list[tuple[Side, float, Detection]], body: BodyObservation | None
    ) -> Observation:
        before = {} if self._before is None else {hand.side: hand for hand in self._before.hands}
        # Hands that are looked at by turns come as they were, and so do their observations.
        same = [
            replace(before[side], side_confidence=confidence, looked_at=False)
            for side, confidence, seen in found
            if side in before and before[side].landmarks_px is seen.landmarks_px
        ]
        found = [one for one in found if one[0] not in {hand.side for hand in same}]
        hands = self._hands(frame, found)
        by_side = {hand.side: hand for hand in (*hands, *same)}
        both = tuple(by_side[side] for side in SIDES if side in by_side)
        seen = Observation(frame.index, frame.time_s, frame.width_px, frame.height_px, both, body)
        self._before = seen if self._video is not None else None
        return seen

    def _hands(self, frame: Frame, found: list[tuple[Side, float, Detection]]) -> tuple[HandObservation, ...]:
        """The hands that were found in this frame, with what the networks see of them."""
        looks = [(seen.landmarks_px, other_side(side) if self.mirrored else side) for side, _, seen in found]
        sides = [side for side, _, _ in found]
        kept = {}
        calm = self._video is not None and self._video.calm
        if (calm or "forearm" in self._savings) and self._forearm is not None:
            hands = [(side, seen.landmarks_px) for side, _, seen in found]
            kept = self._turns.to_carry(hands, frame.time_s, running=2 if calm else 1)
        spared = [place for place, side in enumerate(sides) if side in kept]
        axes, fingers = self._look(frame.image_bgr, looks, spared)
        if self._video is not None:
            evidence = {
                side: _evidence(axis, of_fingers) * (1 if side == "left" else -1)
                for (side, _, _), axis, of_fingers in zip(found, axes, fingers, strict=True)
            }
            self._video.add_evidence(evidence)
            self._video.point_at(*_pointed(looks, sides, fingers))
        axes = [kept.get(side, axis) for side, axis in zip(sides, axes, strict=True)]
        self._turns.take(list(zip(sides, axes, strict=True)), frame.time_s)
        return tuple(
            HandObservation(
                side=side,
                side_confidence=confidence,
                score=seen.presence,
                landmarks_px=seen.landmarks_px,
                landmarks_m=seen.landmarks_m,
                label_agrees=seen.label_agrees(side),
                forearm=axis,
                fingers=of_fingers,
            )
            for (side, confidence, seen), axis, of_fingers in zip(found, axes, fingers, strict=True)
        )

    def close(self) -> None:
        """Hands the networks back; may be called twice."""
        self._finder.close()

    def __enter__(self) -> Tracker:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _pointed(
    looks: list[tuple[Array, Side]], sides: list[Side], fingers: list[FingerOutputs[Array] | None]
) -> tuple[dict[Side, Array | None], set[Side]]:
    """Where the finger network points at the joints (21, 2) of the hand of each side that it looked at, None where it
    does not point, and of which it sees none."""
    seen = [
        (side, look, said) for side, look, said in zip(sides, looks, fingers, strict=True) if said is not None
    ]
    doubted = {side for side, _, said in seen if min(said.hand_logit, said.side_logit) < _SURE}
    return {side: joints_px(said, *look) for side, look, said in seen}, doubted


def _side_logits(axis: ForearmAxis | None, fingers: FingerOutputs[Array] | None) -> list[float]:
    """What the networks say of a hand's being of the side it was cut for."""
    logits = [] if axis is None else [float(axis.outputs.side_logit)]
    return logits if fingers is None else [*logits, float(fingers.side_logit)]


def _evidence(axis: ForearmAxis | None, fingers: FingerOutputs[Array] | None) -> float:
    """Log odds for the side that a hand was cut for, from what the networks saw of it."""
    return network_evidence(_side_logits(axis, fingers))


def _view(
    look: tuple[Array, Side], axis: ForearmAxis | None, fingers: FingerOutputs[Array] | None
) -> SideView:
    """What the networks say of landmarks taken for a hand of that look's side; at best where none can say it."""
    cross_entropy = cross_entropy_of(_side_logits(axis, fingers))
    if fingers is None:
        return SideView(0.0, cross_entropy, UNJUDGED.left.hand)
    error = landmark_error(*look, fingers.joints, FingerNet.crop)
    return SideView(error, cross_entropy, float(fingers.hand_logit))

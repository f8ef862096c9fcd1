"""The body: found and followed at a low rate, and how far its arms can be believed."""

from __future__ import annotations

import math

import numpy as np

from posturewatch.model.arrays import Array, Image
from posturewatch.model.observation import BODY_LANDMARKS, SIDES, BodyObservation, Side
from posturewatch.tracking.crop import hand_scale_px
from posturewatch.tracking.networks import BODY_INPUT_PX, PERSON_INPUT_PX, BodyNet, PersonNet, RawBody
from posturewatch.tracking.roi import Roi, body_roi, cut, person_roi, to_camera_m, to_image_px

__all__ = [
    "BodyFinder",
    "arm",
    "arm_trust",
    "hand_length_px",
    "is_false_hand",
    "mirrored_body",
    "usable_wrist",
    "whole_image",
    "wrists_of",
]


_MIN_TRUST = 0.3
_MIN_PERSON = 0.5
_CERTAIN = 0.95  # presence of a true hand before the face
_FAIRLY_CERTAIN = 0.7
_MIN_PRESENCE = 0.5
#: A followed body is looked for afresh this often, so that a wrong crop cannot stay.
_AFRESH_S = 1.0

#: Left and right points of the body, which change places in a mirrored image.
_PAIRS = [(1, 4), (2, 5), (3, 6), (7, 8), (9, 10), *((i, i + 1) for i in range(11, 33, 2))]
_SWAP = np.arange(33)
for _a, _b in _PAIRS:
    _SWAP[[_a, _b]] = _b, _a


def whole_image(image: Image) -> Roi:
    """The square around the whole image."""
    height, width = image.shape[:2]
    return Roi((width / 2, height / 2), float(max(height, width)))


def mirrored_body(body: BodyObservation) -> BodyObservation:
    """The same points with left and right exchanged: what the network calls left in a mirrored image is the
    person's right."""
    return BodyObservation(
        body.landmarks_px[_SWAP], body.landmarks_m[_SWAP], body.visibility[_SWAP], body.time_s, body.people
    )


def arm(body: BodyObservation, side: Side) -> tuple[Array, Array, Array]:
    """Shoulder, elbow and wrist of one side, each (2,), pixels of the image."""
    points = [
        body.landmarks_px[BODY_LANDMARKS[f"{side}_{joint}"], :2] for joint in ("shoulder", "elbow", "wrist")
    ]
    return points[0], points[1], points[2]


def arm_trust(body: BodyObservation, side: Side, width_px: int, height_px: int) -> float:
    """How far one arm's wrist can be believed.

    Visibility alone does not show it: it is high on elbows that are quite wrong. The head must be in the image, the
    wrist too, and the arm's bones must have lengths that fit the shoulders.

    Parameters
    ----------
    body
        As last seen.
    side
        The arm's.
    width_px, height_px
        Of the image.

    Returns
    -------
    0..1.
    """
    shoulder, elbow, wrist = arm(body, side)
    trunk = _trunk_px(body)
    trust = float(body.visibility[BODY_LANDMARKS[f"{side}_wrist"]])
    nose = body.landmarks_px[BODY_LANDMARKS["nose"], :2]
    size = np.array([width_px, height_px])
    if not _inside(nose, size, 0.0):
        trust *= 0.3
    if not _inside(wrist, size, 0.02):
        trust *= 0.2
    if not _inside(elbow, size, 0.1):
        trust *= 0.6
    # Upper arm and forearm are each about three quarters of the shoulders' breadth; foreshortening only shortens.
    if max(math.dist(shoulder, elbow), math.dist(elbow, wrist)) > 1.6 * trunk:
        trust *= 0.3
    return trust


def usable_wrist(body: BodyObservation, side: Side, width_px: int, height_px: int) -> Array | None:
    """One arm's wrist (2,) in pixels, None where the arm is not to be believed; parameters as of `arm_trust`."""
    return arm(body, side)[2] if arm_trust(body, side, width_px, height_px) >= _MIN_TRUST else None


def hand_length_px(body: BodyObservation, side: Side) -> float:
    """Wrist to fingertip in pixels, as the body's size suggests it.

    The hand is 0.72 of the forearm (ANSUR II, 193 and 268 mm) and about half of the shoulders' breadth (common
    practice); foreshortening only shortens either.
    """
    shoulder, elbow, wrist = arm(body, side)
    other = arm(body, "right" if side == "left" else "left")[0]
    return max(0.72 * math.dist(elbow, wrist), 0.45 * math.dist(shoulder, other))


def wrists_of(
    body: BodyObservation, width_px: int, height_px: int
) -> tuple[tuple[Array, float], tuple[Array, float]]:
    """Left and right wrist (2,) in pixels, each with how far that arm can be trusted, 0..1.

    Parameters
    ----------
    body
        As last seen.
    width_px, height_px
        Of the image.
    """
    left, right = ((arm(body, side)[2], arm_trust(body, side, width_px, height_px)) for side in SIDES)
    return left, right


def is_false_hand(
    landmarks_px: Array, presence: float, body: BodyObservation | None, width_px: int, height_px: int
) -> bool:
    """Whether the body speaks against a hand that the network is not very certain of.

    It lies in the face, or is far too large or small for this body: a palm is a quarter of the shoulders' breadth, and
    looks up to four times that size where it is held towards a near camera.

    Parameters
    ----------
    landmarks_px
        (21, 3) of the hand.
    presence
        The network's probability that it is one.
    body
        As last seen, or None.
    width_px, height_px
        Of the image.
    """
    if body is None or presence >= _CERTAIN:
        return False
    if not _inside(body.landmarks_px[0, :2], np.array([width_px, height_px]), 0.0):
        return False  # without a head in the image the body is a guess
    face = body.landmarks_px[:11, :2]
    centre = face.mean(axis=0)
    middle = landmarks_px[[0, 5, 9, 13, 17], :2].mean(axis=0)
    if math.dist(middle, centre) < np.linalg.norm(face - centre, axis=1).max():
        return True
    scale = hand_scale_px(landmarks_px) / _trunk_px(body)
    return presence < _FAIRLY_CERTAIN and not 0.06 < scale < 1.0


def _trunk_px(body: BodyObservation) -> float:
    """The shoulders' breadth in pixels, or from the trunk's length where the shoulders are seen sidewise."""
    left, right = (body.landmarks_px[BODY_LANDMARKS[f"{side}_shoulder"], :2] for side in SIDES)
    hips = body.landmarks_px[[BODY_LANDMARKS[f"{side}_hip"] for side in SIDES], :2].mean(axis=0)
    return max(math.dist(left, right), 0.6 * math.dist((left + right) / 2, hips), 1e-6)


def _inside(point: Array, size: Array, margin: float) -> bool:
    return bool((point >= -margin * size).all() and (point < (1 + margin) * size).all())


class BodyFinder:
    """Two networks: one finds a person in the whole image, the other puts landmarks on the body.

    `look` waits for the result. `offer` and `latest` never wait: an image is taken on when the networks are
    free, and its result appears some frames later with the time of the image it was seen in.
    """

    def __init__(self, mirrored: bool) -> None:
        self._mirrored = mirrored
        self._person = PersonNet()
        self._body = BodyNet()
        self._roi: Roi | None = None
        self._afresh_s = -math.inf
        self._image: Image | None = None
        self._time_s = 0.0
        self._people = 1
        self._busy: PersonNet | BodyNet | None = None
        self.latest: BodyObservation | None = None

    def look(self, image_bgr: Image, time_s: float) -> BodyObservation | None:
        """Waits for what is seen in an image.

        Parameters
        ----------
        image_bgr, time_s
            The image and its time.

        Returns
        -------
        The body, None where there is none.
        """
        self.offer(image_bgr, time_s)
        while self._busy is not None:
            self._advance()
        return self.latest

    def offer(self, image_bgr: Image, time_s: float) -> bool:
        """Takes the image on if the networks are free; says whether it did."""
        if self._busy is not None:
            return False
        self._image, self._time_s = image_bgr, time_s
        if self._roi is None or not 0 <= time_s - self._afresh_s < _AFRESH_S:
            whole = whole_image(image_bgr)
            cut(image_bgr, whole, PERSON_INPUT_PX, replicate=False, out=self._person.image_rgb)
            self._person.start()
            self._busy = self._person
        else:
            self._start_body(self._roi)
        return True

    def poll(self) -> None:
        """Moves on what has finished; returns at once."""
        while self._busy is not None and self._busy.done:
            self._advance()

    def _start_body(self, roi: Roi) -> None:
        assert self._image is not None
        self._roi = roi
        cut(self._image, roi, BODY_INPUT_PX, out=self._body.image_rgb)
        self._body.start()
        self._busy = self._body

    def _advance(self) -> None:
        assert self._image is not None
        if self._busy is self._person:
            found = self._person.wait()
            self._busy = None
            if found and found[0].score >= _MIN_PERSON:
                self._afresh_s = self._time_s
                self._people = sum(one.score >= _MIN_PERSON for one in found)
                self._start_body(person_roi(found[0], whole_image(self._image)))
            elif self._roi is not None:
                self._start_body(self._roi)  # the finder misses close bodies that are still followed well
            else:
                self.latest = None
        elif self._busy is self._body:
            raw = self._body.wait()
            self._busy = None
            self._take(raw)

    def _take(self, raw: RawBody) -> None:
        assert self._roi is not None
        if raw.presence < _MIN_PRESENCE:
            self._roi = self.latest = None
            return
        landmarks_px = to_image_px(raw.landmarks_px, self._roi, BODY_INPUT_PX)
        body = BodyObservation(
            landmarks_px[:33],
            to_camera_m(raw.landmarks_m[:33], self._roi),
            raw.visibility[:33],
            self._time_s,
            self._people,
        )
        self._roi = body_roi(landmarks_px[33:35])
        self.latest = mirrored_body(body) if self._mirrored else body

    def forget(self) -> None:
        """Starts afresh with the next image, as for images that have nothing to do with each other."""
        while self._busy is not None:
            self._advance()
        self._roi = self.latest = None
        self._afresh_s = -math.inf

    def close(self) -> None:
        """Hands the networks back."""
        self._person.close()
        self._body.close()

"""Where the people in a whole image are, apart from the one whose body is followed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from posturewatch.model.arrays import Image
from posturewatch.tracking.body import whole_image
from posturewatch.tracking.networks import PERSON_INPUT_PX, PersonNet
from posturewatch.tracking.roi import cut

__all__ = ["PeopleFinder", "Person"]

#: As of the one whose body is followed.
_MIN_SCORE = 0.5

#: Two finds whose shoulders lie nearer than this share of the larger one's trunk are one person.
_APART = 0.5


@dataclass(frozen=True)
class Person:
    """x_px: the middle of the shoulders; trunk_px: from there to the middle of the hips; pixels of the image."""

    x_px: float
    trunk_px: float


class PeopleFinder:
    """A network of its own, so that whoever follows the body is not disturbed."""

    def __init__(self) -> None:
        self._net = PersonNet()

    def look(self, image_bgr: Image) -> tuple[Person, ...]:
        """The people in an image, the largest first."""
        whole = whole_image(image_bgr)
        cut(image_bgr, whole, PERSON_INPUT_PX, replicate=False, out=self._net.image_rgb)
        self._net.start()
        people = []
        for found in self._net.wait():
            if found.score >= _MIN_SCORE:
                hips, _, shoulders = (found.keypoints[:3] - 0.5) * whole.size_px + np.asarray(whole.centre_px)
                people.append(Person(float(shoulders[0]), float(np.hypot(*(hips - shoulders)))))
        people.sort(key=lambda one: -one.trunk_px)
        apart: list[Person] = []
        for one in people:
            if all(abs(one.x_px - other.x_px) > _APART * other.trunk_px for other in apart):
                apart.append(one)
        return tuple(apart)

    def close(self) -> None:
        """Hands the network back."""
        self._net.close()

"""Videos and cameras: each hand is followed from frame to frame, looked for where it was lost, and its side is
believed over time.

The library's networks compute side by side, each from a crop around where its hand was. Where our finger network
points at the joints, the library looks at a hand three times a second only: between, its landmarks are moved along with
these joints. While a hand is missing, the palm finder takes the second core. The body comes a few times a second. In a
video everything follows from the frames and their times alone, so that every run gives the same; live, the body's
result is taken when it is ready, and the search is kept within the time between two frames.
"""

from __future__ import annotations

import math
import time
from collections.abc import Collection, Mapping

from posturewatch.model.arrays import Array, Image
from posturewatch.model.observation import SIDES, BodyObservation, Side
from posturewatch.tracking.body import (
    BodyFinder,
    arm,
    hand_length_px,
    is_false_hand,
    usable_wrist,
    whole_image,
    wrists_of,
)
from posturewatch.tracking.crop import hand_scale_px
from posturewatch.tracking.effort import Effort
from posturewatch.tracking.hands import (
    MIN_PRESENCE,
    Detection,
    collect_palms,
    read_hand,
    refine,
    start_look,
    start_palms,
)
from posturewatch.tracking.networks import HandNet, PalmNet
from posturewatch.tracking.plausible import hand_distance, is_handlike, is_same_hand
from posturewatch.tracking.roi import Roi, forearm_roi, hand_roi
from posturewatch.tracking.sides import SideBelief, assign_sides, body_evidence, label_evidence
from posturewatch.tracking.track import Lost, Track, jump, shows

__all__ = ["VideoFinder"]


_GAP_S = 1.0  # after a gap like this nothing is where it was
_LOST_S = 3.0  # how long a lost hand is remembered
_BODY_FRESH_S = 0.6  # how long what the body last said of sides holds
_CALM_BODY_S = 0.45  # how often it is looked for while no hand that is followed needs the library
_SAVED_BODY = 3  # how many times less often the body is looked for to save time
_REACH_PER_S = 6.0  # hand scales a lost hand may have moved per second of absence
_PATIENCE = 1.5  # so many times longer a hand may wait for the library where the other one is looked at
_COINCIDE = 0.3  # hand scales: two followed hands nearer than this are one


class VideoFinder:
    """Hands and body of one frame after another.

    Parameters
    ----------
    mirrored
        Whether images are.
    effort
        How much is done per frame.
    """

    def __init__(self, mirrored: bool, effort: Effort) -> None:
        self._mirrored = mirrored
        self._effort = effort
        self._nets = (HandNet(), HandNet())
        self._palms = (PalmNet(), PalmNet())
        self._body = BodyFinder(mirrored)
        self._savings: frozenset[str] = frozenset()
        self._follows = 0
        #: Whether the library looked at no hand in the last frame: none that is followed moves much, or changes.
        self.calm = False
        self._forget()

    def ease(self, savings: frozenset[str]) -> None:
        """From the next frame on, does less often what is named there (`posturewatch.model.savings`)."""
        self._savings = savings

    def _forget(self) -> None:
        self._tracks: list[Track] = []
        self._lost: list[Lost] = []
        self._time_s: float | None = None
        self._body_s = self._searched_s = self._lost_s = -math.inf
        self._turn = 0
        self._was_late = False

    def find(
        self, image_bgr: Image, time_s: float
    ) -> tuple[list[tuple[Side, float, Detection]], BodyObservation | None]:
        """Side, confidence and landmarks of each hand, and the body as last seen; all is forgotten where the time runs
        backwards or jumps. See `posturewatch.tracking.tracker.Finder`."""
        if self._time_s is not None and not 0 <= time_s - self._time_s < _GAP_S:
            self._forget()
            self._body.forget()
        if self._time_s is None:
            self._lost_s = time_s  # at the start both hands are to be found
        self._time_s = time_s
        self._begun_s = time.perf_counter()
        body = self._look_for_body(image_bgr, time_s)
        tiles = self._tiles(image_bgr, body, time_s)
        self._follow(image_bgr, time_s, tiles[:2])
        self._search(image_bgr, time_s, body, tiles)
        self._decide_sides(image_bgr, body, time_s)
        self._lost = [lost for lost in self._lost if time_s - lost.time_s < _LOST_S]
        self._was_late = self._late()
        found = [(track.side, track.confidence, track.seen) for track in self._tracks if track.side]
        return found, body

    def add_evidence(self, evidence: Mapping[Side, float]) -> None:
        """Adds what was seen of the hands just found.

        It counts in the next frame, since the networks that say it look at hands whose sides are decided.

        Parameters
        ----------
        evidence
            Log odds for left of the hand of each side.
        """
        for track in self._tracks:
            track.network_evidence = evidence.get(track.side, 0.0) if track.side else 0.0

    def point_at(self, joints_px: Mapping[Side, Array | None], doubted: Collection[Side]) -> None:
        """Takes in where our finger network points in the hands just found.

        Parameters
        ----------
        joints_px
            (21, 2) of the hand of each side that was looked at, None where it does not point.
        doubted
            Of which sides it does not see a hand.
        """
        if self._time_s is None:
            return
        for track in self._tracks:
            if track.side is None:  # nobody looked at it, so where it was pointed at before is no longer so
                track.point_at(None, doubted=False, time_s=self._time_s)
            elif track.side in joints_px:
                joints = joints_px[track.side]
                track.point_at(joints, doubted=track.side in doubted, time_s=self._time_s)

    def _late(self) -> bool:
        budget_s = self._effort.budget_s
        return budget_s is not None and time.perf_counter() - self._begun_s > budget_s

    def _look_for_body(self, image: Image, time_s: float) -> BodyObservation | None:
        every_s = self._effort.body_every_s * (_SAVED_BODY if "body" in self._savings else 1)
        if self.calm and self._tracks:
            every_s = max(every_s, _CALM_BODY_S)
        due = time_s - self._body_s >= every_s - 1e-3
        if self._effort.waits:
            if due:
                self._body_s = time_s
                self._body.look(image, time_s)
        else:
            self._body.poll()
            if due and self._body.offer(image, time_s):
                self._body_s = time_s
        return self._body.latest

    # Following

    def _follow(self, image: Image, time_s: float, tiles: list[Roi]) -> None:
        """The next look at each followed hand, while the palm finders work on the first tiles."""
        pairs = list(zip(self._tracks, self._nets, strict=False))
        if "second hand" in self._savings and len(pairs) == 2:
            self._follows += 1
            pairs = [pairs[self._follows % 2]]
        pairs = self._to_look_at(pairs, image, time_s)
        self.calm = not pairs
        rois = [track.next_roi() for track, _ in pairs]
        for (_, net), roi in zip(pairs, rois, strict=True):
            start_look(net, image, roi)
        for palm, tile in zip(self._palms, tiles, strict=False):
            start_palms(palm, image, tile)
        for (track, net), roi in zip(pairs, rois, strict=True):
            seen: Detection | None = read_hand(net.wait(), roi, mirrored=self._mirrored)
            if not self._is_hand(seen, image):
                wider = hand_roi(track.seen.landmarks_px).grown(1.3)
                seen = refine(net, image, wider, mirrored=self._mirrored, looks=2)
            if seen is None:
                self._lose(track, time_s)
            else:
                track.take(seen, time_s)
        if len(self._tracks) == 2:
            self._part(time_s)

    def _to_look_at(
        self, pairs: list[tuple[Track, HandNet]], image: Image, time_s: float
    ) -> list[tuple[Track, HandNet]]:
        """Those hands that the library looks at in this frame; the others are moved along. Two take turns."""
        chosen: list[tuple[Track, HandNet]] = []
        for track, net in sorted(pairs, key=lambda pair: pair[0].library_s):
            patience = _PATIENCE if chosen else 1.0
            if not self._carry(
                track, image, time_s, patience * track.patience_s(self._effort.library_every_s)
            ):
                chosen.append((track, net))
        return chosen

    def _carry(self, track: Track, image: Image, time_s: float, at_most_s: float) -> bool:
        """Moves a hand along with the joints that our finger network sees, if the library looked so lately."""
        if time_s - track.library_s >= at_most_s - 1e-3:
            return False
        seen = track.carried()
        if seen is None or not self._is_hand(seen, image):
            return False
        track.take(seen, time_s, librarys=False)
        return True

    def _is_hand(self, seen: Detection | None, image: Image) -> bool:
        height, width = image.shape[:2]
        return (
            seen is not None
            and seen.presence >= MIN_PRESENCE
            and is_handlike(seen.landmarks_px, width, height)
        )

    def _part(self, time_s: float) -> None:
        """Where both crops came to lie on one hand, the one that jumped there is the lost one."""
        first, second = self._tracks
        if hand_distance(first.seen.landmarks_px, second.seen.landmarks_px) < _COINCIDE:
            self._lose(max(self._tracks, key=jump), time_s)

    def _lose(self, track: Track, time_s: float) -> None:
        self._tracks = [other for other in self._tracks if other is not track]
        self._lost.append(Lost(track, time_s))
        self._lost_s = time_s

    # Searching

    def _tiles(self, image: Image, body: BodyObservation | None, time_s: float) -> list[Roi]:
        """Parts of the image to search in this frame: the whole of it, and by turns the places where a hand
        was lost, the body's wrists, and three squares that cover it. None while both hands are followed."""
        if len(self._tracks) == 2 or self._was_late:
            return []
        eager = self._eager(time_s)
        if not eager and time_s - self._searched_s < self._effort.idle_every_s - 1e-3:
            return []
        self._searched_s = time_s
        height, width = image.shape[:2]
        others = [
            Roi(
                hand_roi(lost.track.seen.landmarks_px).centre_px,
                hand_scale_px(lost.track.seen.landmarks_px) * (4 + 4 * (time_s - lost.time_s)),
            )
            for lost in self._lost
        ]
        others += [Roi(guess.centre_px, 1.5 * guess.size_px) for guess in self._body_guesses(image, body)]
        short, long = min(width, height), max(width, height)
        along = short / 2 + (long - short) * (self._turn % 3) / 2
        others.append(Roi((along, short / 2) if width >= height else (short / 2, along), float(short)))
        count = (self._effort.searches if eager else 2) - 1
        first = self._turn * count
        self._turn += 1
        return [
            whole_image(image),
            *(others[(first + i) % len(others)] for i in range(min(count, len(others)))),
        ]

    def _eager(self, time_s: float) -> bool:
        return time_s - self._lost_s < self._effort.eager_s

    def _body_guesses(self, image: Image, body: BodyObservation | None) -> list[Roi]:
        """Crops where the body's forearms end, but for hands that are followed already."""
        height, width = image.shape[:2]
        guesses = []
        for side in SIDES:
            wrist = None if body is None else usable_wrist(body, side, width, height)
            if body is None or wrist is None:
                continue
            guess = forearm_roi(arm(body, side)[1], wrist, hand_length_px(body, side))
            if not any(shows(guess, track) for track in self._tracks):
                guesses.append(guess)
        return guesses

    def _search(self, image: Image, time_s: float, body: BodyObservation | None, tiles: list[Roi]) -> None:
        """Takes up what the palm finders found in the first two tiles, on which they were started, then searches
        the rest by twos."""
        left = self._effort.takes if self._eager(time_s) else max(1, self._effort.takes // 2)
        for begin in range(0, len(tiles), 2):
            pairs = list(zip(self._palms, tiles[begin : begin + 2], strict=False))
            if begin:
                for palm, tile in pairs:
                    start_palms(palm, image, tile)
            found = sorted(
                (one for palm, tile in pairs for one in collect_palms(palm, tile)), key=lambda one: -one[0]
            )
            fresh = [roi for _, roi in found if not any(shows(roi, track) for track in self._tracks)]
            if len(fresh) > left > 0:  # so that a false find cannot stand before a true one for ever
                turn = self._turn % len(fresh)
                fresh = fresh[turn:] + fresh[:turn]
            for count, roi in enumerate(fresh[:left]):
                if len(self._tracks) == 2 or ((begin or count) and self._late()):
                    return
                self._take_up(image, time_s, body, roi)
                left -= 1
        # The palm finder fails behind strings; the landmark network by itself often does not.
        guesses = self._body_guesses(image, body) if tiles and left > 0 else []
        if guesses and len(self._tracks) < 2 and not self._late():
            self._take_up(image, time_s, body, guesses[self._turn % len(guesses)])

    def _take_up(self, image: Image, time_s: float, body: BodyObservation | None, roi: Roi) -> None:
        if any(shows(roi, track) for track in self._tracks):
            return
        net = self._nets[len(self._tracks)]
        seen = refine(net, image, roi, mirrored=self._mirrored, looks=self._effort.looks)
        if seen is None or self._is_false(seen, image, body):
            return
        if any(is_same_hand(seen.landmarks_px, track.seen.landmarks_px) for track in self._tracks):
            return
        track = Track(seen, SideBelief())
        known = self._recognise(seen, time_s)
        if known is not None:
            self._lost.remove(known)
            fade = math.exp(-(time_s - known.time_s) / _LOST_S)
            track = Track(seen, SideBelief(known.track.belief.value * fade), known.track.side)
        track.library_s = time_s
        track.wrists.append((time_s, seen.landmarks_px[0, :2]))
        self._tracks.append(track)

    @staticmethod
    def _is_false(seen: Detection, image: Image, body: BodyObservation | None) -> bool:
        height, width = image.shape[:2]
        return is_false_hand(seen.landmarks_px, seen.presence, body, width, height)

    def _recognise(self, seen: Detection, time_s: float) -> Lost | None:
        """The lost hand that this one is: the nearest that can have come here since."""

        def excess(lost: Lost) -> float:
            apart = hand_distance(seen.landmarks_px, lost.track.seen.landmarks_px)
            return apart - (1.5 + _REACH_PER_S * (time_s - lost.time_s))

        nearest = min(self._lost, key=excess, default=None)
        return nearest if nearest is not None and excess(nearest) < 0 else None

    # Sides

    def _decide_sides(self, image: Image, body: BodyObservation | None, time_s: float) -> None:
        for track in self._tracks:
            self._weigh_body(track, image, body)
            fresh = time_s - track.body_s < _BODY_FRESH_S
            label = label_evidence(track.seen.left_probability, track.seen.presence)
            body_evidence = track.body_evidence if fresh else 0.0
            track.belief.update(time_s, label + body_evidence + track.network_evidence)
            track.network_evidence = 0.0
        decided = assign_sides(
            [track.belief.value for track in self._tracks], [track.side for track in self._tracks]
        )
        for track, (side, confidence) in zip(self._tracks, decided, strict=True):
            track.side, track.confidence = side, confidence

    def _weigh_body(self, track: Track, image: Image, body: BodyObservation | None) -> None:
        """Compares the hand with the body's wrists at the time the body was seen."""
        if body is None or body.time_s == track.body_s:
            return
        height, width = image.shape[:2]
        track.body_s = body.time_s
        track.body_evidence = body_evidence(
            track.wrist_at(body.time_s),
            hand_scale_px(track.seen.landmarks_px),
            *wrists_of(body, width, height),
        )

    def close(self) -> None:
        """Hands the networks back."""
        for net in (*self._nets, *self._palms, self._body):
            net.close()

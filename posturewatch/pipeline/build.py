"""The parts of a run put together from the settings: the one place that knows them all."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from posturewatch import __version__
from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.config.players import Player, PlayerFiles
from posturewatch.config.resources import calibration_dir
from posturewatch.config.settings import Settings, load_settings, settings_file
from posturewatch.errors import UnavailableError
from posturewatch.kinematics.one_euro import OneEuro
from posturewatch.model.address import is_address, public_address
from posturewatch.model.observation import Side
from posturewatch.pipeline.monitor import FrameSource, Measurer, Monitor, Observer, Sink
from posturewatch.pipeline.pace import PaceControl
from posturewatch.pipeline.practice import OpenSource
from posturewatch.storage.records import SessionStart, now_utc

if TYPE_CHECKING:
    from posturewatch.kinematics.estimator import Estimator
    from posturewatch.tracking import Tracker

__all__ = [
    "Built",
    "Mode",
    "Parts",
    "build",
    "estimator_path",
    "fingers_path",
    "forearm_path",
    "load_estimator",
    "load_parts",
    "load_tracker",
    "player_files",
]

#: What the frames are: images that have nothing to do with each other, a video, or a camera.
Mode = Literal["still", "video", "live"]


@dataclass(frozen=True)
class Built:
    """What looks and measures in one run.

    Attributes
    ----------
    tracker, measurer
        Take one frame, or its observation, after the other.
    release
        Hands the models back.
    ease
        Tells the tracker the savings (`posturewatch.model.savings`) from the next frame on; None where it knows none.
    """

    tracker: Observer
    measurer: Measurer
    release: Callable[[], None]
    ease: Callable[[frozenset[str]], None] | None = None


class _EasedTracker:
    """Keeps pace, and tells the tracker what it need not do for now."""

    def __init__(self, ease: Callable[[frozenset[str]], None]) -> None:
        self._control = PaceControl()
        self._ease = ease

    def frame(self, now_s: float, dropped: int, busy_s: float) -> frozenset[str]:
        """See `PaceControl.frame`."""
        savings = self._control.frame(now_s, dropped, busy_s)
        self._ease(savings)
        return savings


@dataclass(frozen=True)
class Parts:
    """What follows from the settings.

    Attributes
    ----------
    settings
        As read, with the length of the player's own hand where that was measured.
    limits, rules
        What is watched for.
    build
        Makes tracker and measurer.
    player
        What is known of who plays.
    """

    settings: Settings
    limits: LimitProfile
    rules: WatchRules
    build: Callable[[Mode, Settings], Built]
    player: Player = field(default_factory=lambda: Player(name="Player"))

    @property
    def settings_json(self) -> Mapping[str, Any]:
        """The settings in JSON's types, as they are kept with a session: without what lets one in to a stream."""
        source = self.settings.camera.source
        shown = self.settings
        if is_address(source):
            shown = self.settings.changed("camera", source=public_address(source))
        return shown.to_json()

    def session_start(self, source: OpenSource) -> SessionStart:
        """What is kept of the beginning of a session on this source, which begins now."""
        return self.described_start(source.describe(), now_utc())

    def described_start(self, described: Mapping[str, Any], started_at: str) -> SessionStart:
        """What is kept of the beginning of a session on a source of this name and kind, which began then."""
        return SessionStart(
            source_name=described["name"],
            source_kind=described["kind"],
            program_version=__version__,
            limits=self.limits,
            rules=self.rules,
            settings=self.settings_json,
            instrument=self.settings.instrument.name,
            started_at=started_at,
        )

    def monitor(
        self,
        mode: Mode,
        source: FrameSource,
        sinks: Sequence[Sink],
        over: Callable[[Measurer], Measurer] = lambda measurer: measurer,
    ) -> tuple[Monitor, Callable[[], None]]:
        """A fresh loop.

        Parameters
        ----------
        mode
            What the frames are.
        source
            Where they come from.
        sinks
            Take the readings.
        over
            Makes of the measurer what measures.

        Returns
        -------
        The loop, and the function that releases its models.

        Raises
        ------
        UnavailableError
            Models or weights are missing.
        """
        built = self.build(mode, self.settings)
        shown = self.settings.display
        monitor = Monitor(
            source=source,
            tracker=built.tracker,
            measurer=over(built.measurer),
            watch=Watch(self.limits, self.rules, self.settings.fretting),
            sinks=sinks,
            smoother=lambda: OneEuro(shown.min_cutoff_hz, shown.beta),
            pace=_EasedTracker(built.ease) if mode == "live" and built.ease is not None else None,
        )
        return monitor, built.release


def load_parts(settings_path: Path | None, profile: str | None) -> Parts:
    """What follows from a settings file; says on stderr which personal limits change nothing.

    Parameters
    ----------
    settings_path
        The file, the user's own where None.
    profile
        A limit profile's name, the settings' where None.

    Raises
    ------
    SettingsError
        A broken file.
    InputError
        An unknown profile.
    """
    settings = load_settings(settings_path)
    if profile is not None:
        settings = settings.changed("limits", profile=profile)
    player = player_files(settings_path).player(settings.player.name)
    ends = player.own_ends()
    if player.hand is not None:
        settings = settings.changed("player", hand_length_mm=player.hand.length_mm)
    if player.sound is not None:
        settings = settings.changed("clips", microphone=player.sound.microphone != "")
    by_hand = player.own_limits()
    parts = Parts(settings, settings.limit_profile(ends, by_hand), settings.rules(), build, player)
    for key in settings.limits_left_aside(ends, by_hand):
        print(
            f"posturewatch: your own limit {key} is wider than that of the profile {settings.limits.profile}"
            f"{' or of your own range' if ends else ''} and is left aside; take it out again, or choose "
            "another profile.",
            file=sys.stderr,
        )
    return parts


def player_files(settings_path: Path | None) -> PlayerFiles:
    """The players beside a settings file, the user's own one where None."""
    return PlayerFiles(settings_file(settings_path).parent / "players")


def build(mode: Mode, settings: Settings, *, fretting: frozenset[Side] | None = None) -> Built:
    """The real tracker and measurer; loads the models, which takes a second or two.

    Only the tracker knows the mode: it has time for more than one look at a still image, and follows hands from
    frame to frame otherwise. From its observations on all three are measured alike.

    Parameters
    ----------
    mode
        What the frames are.
    settings
        The user's; of them the camera, the instrument and the length of the hand.
    fretting
        The fretting hands, where they are not those of the settings' instrument.

    Raises
    ------
    UnavailableError
        Models or weights are missing or broken.
    """
    from posturewatch.kinematics.hand_size import HandSize
    from posturewatch.kinematics.lift import Lifts
    from posturewatch.kinematics.temporal_estimator import TemporalEstimator
    from posturewatch.pipeline.view.only_player import OnlyPlayer
    from posturewatch.tracking.people import PeopleFinder

    hands = settings.fretting if fretting is None else fretting
    estimator = load_estimator(settings.camera.hfov_deg, hands)
    tracker = load_tracker(mode, mirrored=settings.camera.mirrored)
    lifts = Lifts(hands, HandSize.of(settings.player.hand_length_mm))
    measurer = TemporalEstimator(estimator, lifts)
    if mode == "still":
        return Built(tracker, measurer, tracker.close, tracker.ease)
    alone = OnlyPlayer(tracker, PeopleFinder, tracker.close)
    return Built(alone, measurer, alone.close, tracker.ease)


def estimator_path() -> Path:
    """The estimator's weights.

    Raises
    ------
    UnavailableError
        Where they are missing.
    """
    return _weights("estimator.npz")


def forearm_path() -> Path:
    """The forearm network's weights.

    Raises
    ------
    UnavailableError
        Where they are missing.
    """
    return _weights("forearm.onnx")


def fingers_path() -> Path:
    """The finger network's weights.

    Raises
    ------
    UnavailableError
        Where they are missing.
    """
    return _weights("fingers.onnx")


def load_tracker(mode: Mode, *, mirrored: bool = False) -> Tracker:
    """The tracker with both networks.

    Parameters
    ----------
    mode
        What the frames are.
    mirrored
        Whether their images are mirrored.

    Raises
    ------
    UnavailableError
        Weights, or the tracking library, are missing or broken.
    """
    import cv2

    from posturewatch.tracking import FingerNet, ForearmNet, Tracker

    # The networks run beside each other, one core each. Sharing every layer between the cores takes as long, and a
    # fifth more processor time.
    cv2.setNumThreads(1)
    return Tracker(
        mode, forearm=ForearmNet(forearm_path()), fingers=FingerNet(fingers_path()), mirrored=mirrored
    )


def load_estimator(hfov_deg: float | None, fretting: frozenset[Side] | None = None) -> Estimator:
    """The learned estimator.

    Parameters
    ----------
    hfov_deg
        The camera's horizontal field of view in degrees, None where it is not known.
    fretting
        The fretting hands.

    Raises
    ------
    UnavailableError
        Its weights are missing or broken.
    """
    import numpy as np

    from posturewatch.kinematics.estimator import Estimator
    from posturewatch.kinematics.network import Ensemble

    path = estimator_path()
    try:
        with np.load(path) as archive:
            weights = {name: archive[name] for name in archive.files}
        return Estimator(Ensemble(weights), hfov_deg=hfov_deg, fretting=fretting)
    except (OSError, ValueError, KeyError) as error:
        raise UnavailableError(
            f"The weights {path.name} of posturewatch cannot be used ({error}); install posturewatch again."
        ) from error


def _weights(name: str) -> Path:
    path = calibration_dir() / "weights" / name
    if not path.is_file():
        raise UnavailableError(f"The weights {name} of posturewatch are missing; install posturewatch again.")
    return path

"""From images to observations: hands, forearms, body. Alone knows the tracking library."""

from posturewatch.tracking.fingers import FingerNet
from posturewatch.tracking.forearm import ForearmNet
from posturewatch.tracking.tracker import Tracker, TrackerMode

__all__ = ["FingerNet", "ForearmNet", "Tracker", "TrackerMode"]

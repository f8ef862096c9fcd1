"""The live feed: newest only, one message per picture, no work unless somebody asks."""

from __future__ import annotations

import asyncio
import json
import struct
import threading
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, cast

import cv2
import numpy as np
import pytest
from page_stand_ins import Hand, Player, limits, picture

from posturewatch.comfort.rules import WatchRules
from posturewatch.model.measurement import Refusal
from posturewatch.server.feed import LiveFeed
from posturewatch.server.live_message import pack, reading_header, unpack

WELL: tuple[Hand, Hand] = ((12.0, 4.0), (-8.0, 3.0))


@pytest.fixture
def feed() -> Iterator[LiveFeed]:
    live = LiveFeed(limits(), roles={"left": "fretting"})
    yield live
    live.close()


def fetch(feed: LiveFeed, after_seq: int = 0) -> tuple[dict[str, Any], bytes]:
    message = feed.latest(after_seq, 10.0)
    assert message is not None
    return unpack(message.data)


def test_a_message_is_laid_out_as_the_page_reads_it() -> None:
    # Read with struct and json alone, as any other reader of the documented layout would.
    message = pack({"index": 3, "word": "grün"}, b"\xff\xd8picture")
    (length,) = struct.unpack("<I", message[:4])
    assert json.loads(message[4 : 4 + length].decode()) == {"index": 3, "word": "grün"}
    assert message[4 + length :] == b"\xff\xd8picture"
    assert unpack(message) == ({"index": 3, "word": "grün"}, b"\xff\xd8picture")


@pytest.mark.parametrize("broken", [b"", b"\x01\x00", struct.pack("<I", 10) + b"{}"])
def test_a_message_cut_short_is_refused(broken: bytes) -> None:
    with pytest.raises(ValueError, match="header"):
        unpack(broken)


def test_nan_never_enters_a_message() -> None:
    with pytest.raises(ValueError, match="JSON"):
        pack({"value": float("nan")}, b"")


def test_the_header_tells_of_the_same_frame_as_the_picture(feed: LiveFeed) -> None:
    player = Player()
    feed.put(player.reading(5, 0.25, *WELL, dropped=2))
    header, jpeg = fetch(feed)
    assert header["index"] == 5
    assert header["time_s"] == 0.25
    assert (header["width"], header["height"]) == (640, 360)
    assert header["dropped"] == 2
    decoded = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    # JPEG at quality 75 moves values a little; another index's picture differs by tens.
    assert np.abs(decoded.astype(int) - picture(5).astype(int)).mean() < 3
    left, right = header["hands"]
    assert (left["side"], left["role"], right["side"], right["role"]) == ("left", "fretting", "right", None)
    flexion = left["quantities"]["wrist_flexion"]
    assert flexion["value"] == flexion["display"] == 12.0
    assert (flexion["zone"], flexion["direction"]) == ("within comfort", "flexion")
    # Keir et al. 2007: 37.7 and 48.6 degrees of flexion.
    assert (flexion["comfort_limit"], flexion["extreme_limit"]) == (37.7, 48.6)
    # 12 degrees with a deviation of 2.5 lie well inside; the other angle decides nothing either.
    assert left["verdict"] == {"state": "in comfort", "quantity": None, "refusal": None, "help": None}
    assert len(left["landmarks"]) == 21
    assert len(left["forearm"]) == 2


def test_the_header_tells_the_cues_of_fingers_that_are_certain(feed: LiveFeed) -> None:
    back = {"ring_lift": (0.0, 1.0), "ring_dip": (-20.0, 2.0), "thumb_ip": (60.0, 2.0)}
    feed.put(Player().reading(0, 0.0, (12.0, 4.0, back), (-8.0, 3.0, back)))
    left, right = fetch(feed)[0]["hands"]
    assert left["lift_plane"] == "picture"
    told = {
        "cue": "ring_end_joint_back",
        "finger": "ring",
        "label": "ring finger's end joint bent backwards while the finger is down",
        "words": "end joint bent back",
    }
    # The thumb is told of the fretting hand alone.
    assert (left["cues"][0], [one["cue"] for one in left["cues"][1:]]) == (told, ["thumb_hooked"])
    assert right["cues"] == [told]


def test_a_hand_that_is_not_seen_comes_with_its_reason_and_help(feed: LiveFeed) -> None:
    feed.put(Player().reading(0, 0.0, Refusal.HAND_NOT_SEEN, (-8.0, 3.0)))
    header, _ = fetch(feed)
    left = header["hands"][0]
    assert left["seen"] is False
    assert left["verdict"] == {
        "state": "not seen",
        "quantity": None,
        "refusal": "hand not seen",
        "help": Refusal.HAND_NOT_SEEN.help,
    }
    assert left["landmarks"] is None
    assert left["forearm"] is None
    for entry in left["quantities"].values():
        assert entry["zone"] == "not measurable"
        assert entry["value"] is None
        assert entry["display"] is None
        assert entry["refusal"] == "hand not seen"
        assert entry["help"] == Refusal.HAND_NOT_SEEN.help


def test_missing_points_become_null() -> None:
    reading = Player().reading(0, 0.0, *WELL)
    hand = reading.observation.hands[0]
    points = hand.landmarks_px.copy()
    points[4] = np.nan
    broken = replace(hand, landmarks_px=points)
    reading = replace(reading, observation=replace(reading.observation, hands=(broken,)))
    header = reading_header(reading, limits())
    assert header["hands"][0]["landmarks"][4] is None
    assert json.loads(json.dumps(header, allow_nan=False)) == header


@pytest.mark.parametrize(
    ("hand", "quantity", "direction"),
    [
        ((60.0, 0.0), "wrist_flexion", "flexion"),
        ((-50.0, 0.0), "wrist_flexion", "extension"),
        ((0.0, 25.0), "wrist_ulnar_deviation", "ulnar"),
        ((0.0, -32.0), "wrist_ulnar_deviation", "radial"),
    ],
)
def test_a_held_extreme_angle_comes_as_a_warning(hand: Hand, quantity: str, direction: str) -> None:
    player = Player(WatchRules(hold_s=1.0))
    for index in range(31):
        reading = player.reading(index, index * 0.1, hand, (0.0, 0.0))
    header = reading_header(reading, limits())
    (warning,) = header["warnings"]
    assert warning["held_s"] == pytest.approx(3.0)
    assert (warning["side"], warning["quantity"], warning["direction"]) == ("left", quantity, direction)


def test_without_a_warning_there_is_none() -> None:
    header = reading_header(Player().reading(0, 0.0, *WELL), limits())
    assert header["warnings"] == []


def test_wide_pictures_are_scaled_down_and_small_ones_are_not() -> None:
    for width_px, height_px, expected in [(1280, 720, (480, 270)), (320, 240, (320, 240))]:
        feed = LiveFeed(limits(), max_width_px=480)
        feed.put(Player(size_px=(width_px, height_px)).reading(0, 0.0, *WELL))
        header, jpeg = fetch(feed)
        decoded = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
        assert decoded.shape[1::-1] == expected
        assert (header["width"], header["height"]) == (width_px, height_px)
        feed.close()


def test_only_the_newest_reading_is_kept(feed: LiveFeed) -> None:
    player = Player()
    for index in range(10):
        feed.put(player.reading(index, index / 30, *WELL))
    assert fetch(feed)[0]["index"] == 9
    assert feed.latest(1, 0.05) is None


def test_pictures_are_saved_between_others_and_a_new_warning_never(
    feed: LiveFeed, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [100.0]
    monkeypatch.setattr("posturewatch.server.feed.time.monotonic", lambda: now[0])
    player = Player()
    taken: list[int] = []
    for index in range(30):
        reading = player.reading(index, index / 30, *WELL)
        warned = replace(reading.verdict, fired=(cast(Any, "a warning"),)) if index == 10 else reading.verdict
        feed.put(replace(reading, savings=frozenset({"picture"}), verdict=warned))
        if feed._pending is not None and (not taken or feed._pending.frame.index != taken[-1]):
            taken.append(feed._pending.frame.index)
        now[0] += 1 / 30
    assert taken == [0, 3, 6, 9, 10, 13, 16, 19, 22, 25, 28]
    assert feed.measured_fps == pytest.approx(30.0), "what is measured goes on"


def test_the_header_names_the_savings_in_their_order(feed: LiveFeed) -> None:
    player = Player()
    feed.put(replace(player.reading(0, 0.0, *WELL), savings=frozenset({"picture", "body"})))
    assert fetch(feed)[0]["savings"] == ["body", "picture"]
    feed.put(player.reading(1, 1 / 30, *WELL))
    assert fetch(feed, 1)[0]["savings"] == []


def test_nothing_is_encoded_unless_somebody_asks(feed: LiveFeed, monkeypatch: pytest.MonkeyPatch) -> None:
    encoded: list[int] = []
    original = cv2.imencode

    def noted(*args: Any) -> Any:
        encoded.append(1)
        return original(*args)

    monkeypatch.setattr(cv2, "imencode", noted)
    player = Player()
    for index in range(20):
        feed.put(player.reading(index, index / 30, *WELL))
    assert encoded == []
    assert not any(thread.name == "live-feed" for thread in threading.enumerate())
    assert fetch(feed)[0]["index"] == 19
    assert len(encoded) == 1


def test_putting_never_waits_for_an_encoding(feed: LiveFeed, monkeypatch: pytest.MonkeyPatch) -> None:
    begun, go_on = threading.Event(), threading.Event()
    original = cv2.imencode

    def slow(*args: Any) -> Any:
        begun.set()
        assert go_on.wait(60)
        return original(*args)

    monkeypatch.setattr(cv2, "imencode", slow)
    player = Player()
    answers: list[int] = []
    asker = threading.Thread(target=lambda: answers.append(fetch(feed)[0]["index"]))
    asker.start()
    feed.put(player.reading(0, 0.0, *WELL))
    assert begun.wait(60)
    # The encoder is stuck; every one of these returns all the same.
    for index in range(1, 50):
        feed.put(player.reading(index, index / 30, *WELL))
    go_on.set()
    asker.join(60)
    assert answers == [0]
    assert fetch(feed, 1)[0]["index"] == 49


def test_an_old_picture_is_not_handed_out_as_live(feed: LiveFeed, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [100.0]
    monkeypatch.setattr("posturewatch.server.feed.time.monotonic", lambda: now[0])
    player = Player()
    feed.put(player.reading(0, 0.0, *WELL))
    assert feed.latest(0, 5.0) is not None
    feed.put(player.reading(1, 0.1, *WELL))
    now[0] += 5.0
    assert feed.latest(0, 0.1) is None
    feed.put(player.reading(2, 5.0, *WELL))
    assert fetch(feed)[0]["index"] == 2


def test_clear_forgets_the_last_picture(feed: LiveFeed) -> None:
    feed.put(Player().reading(0, 0.0, *WELL))
    fetch(feed)
    feed.clear()
    assert feed.latest(0, 0.05) is None


def test_notice_and_rate_travel_along(feed: LiveFeed, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [100.0]
    monkeypatch.setattr("posturewatch.server.feed.time.monotonic", lambda: now[0])
    feed.notice = "The camera is gone; trying again."
    player = Player()
    for index in range(60):
        now[0] += 1 / 25
        feed.put(player.reading(index, index / 25, *WELL))
    header, _ = fetch(feed)
    assert header["notice"] == "The camera is gone; trying again."
    assert header["measured_fps"] == pytest.approx(25, abs=0.2)


def test_many_pages_get_the_same_message(feed: LiveFeed) -> None:
    async def ask() -> list[object]:
        waiting = [asyncio.create_task(feed.latest_async(0, 10.0)) for _ in range(3)]
        await asyncio.sleep(0)
        feed.put(Player().reading(0, 0.0, *WELL))
        return await asyncio.gather(*waiting)

    first, *others = asyncio.run(ask())
    assert first is not None
    assert all(other is first for other in others)


def test_the_async_wait_ends_without_a_message(feed: LiveFeed) -> None:
    assert asyncio.run(feed.latest_async(0, 0.02)) is None
    # The wait that ended is forgotten: a later picture finds nobody to be encoded for.
    feed.put(Player().reading(0, 0.0, *WELL))
    assert fetch(feed)[0]["seq"] == 1


def test_closing_twice_is_fine_and_ends_the_thread() -> None:
    feed = LiveFeed(limits())
    feed.put(Player().reading(0, 0.0, *WELL))
    fetch(feed)
    (thread,) = [one for one in threading.enumerate() if one.name == "live-feed"]
    feed.close()
    feed.close()
    assert not thread.is_alive()
    feed.put(Player().reading(1, 0.1, *WELL))
    assert feed.latest(0, 0.02) is None


@pytest.mark.parametrize(("name", "value"), [("max_width_px", 0), ("jpeg_quality", 0), ("jpeg_quality", 101)])
def test_senseless_sizes_are_refused(name: str, value: int) -> None:
    bad: dict[str, Any] = {name: value}
    with pytest.raises(ValueError, match=name):
        LiveFeed(limits(), **bad)


def test_the_picture_is_a_jpeg(feed: LiveFeed) -> None:
    feed.put(Player().reading(0, 0.0, *WELL))
    _, jpeg = fetch(feed)
    # Start and end of image markers, ITU-T T.81, table B.1.
    assert jpeg[:2] == b"\xff\xd8"
    assert jpeg[-2:] == b"\xff\xd9"

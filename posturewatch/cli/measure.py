"""`posturewatch measure`: the angles in single pictures."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from posturewatch.cli.options import Subparsers, add_command
from posturewatch.errors import InputError
from posturewatch.kinematics.hand_size import TYPICAL_HAND_MM

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from posturewatch.kinematics.estimator import Estimate, Estimator
    from posturewatch.model.observation import HandObservation, Observation, Side
    from posturewatch.tracking import Tracker

__all__ = ["add"]

#: The fretting hands, by the word for them.
FRETTING: dict[str, frozenset[Side]] = {
    "left": frozenset({"left"}),
    "right": frozenset({"right"}),
    "both": frozenset({"left", "right"}),
    "none": frozenset(),
}

#: Why no lift is given where the strings are not seen: a single picture has no fingertips that rested before.
NO_STRINGS = "strings not seen beside the fingers"


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "measure",
        "measure the hands in single pictures",
        "Prints, for each picture and hand, wrist flexion (+) or extension (-) and ulnar (+) or radial (-) "
        "deviation in degrees with their standard deviations, the joint flexions of the fingers and their lift "
        "from the strings in millimetres, or the reason why a quantity is not measurable. A film is more exact "
        "than a picture: see analyse.",
        """
posturewatch measure photo.jpg
posturewatch measure *.jpg --json > angles.json
posturewatch measure photo.jpg --overlay drawn --hfov-deg 68 --hand-length-mm 192
posturewatch measure photo.jpg --stops right
""",
    )
    parser.add_argument("images", nargs="+", type=Path, metavar="IMAGE", help="picture files")
    parser.add_argument("--json", action="store_true", help="one JSON array, an object for each picture")
    parser.add_argument(
        "--hfov-deg",
        type=_number(20, 140),
        metavar="D",
        help="the camera's horizontal field of view in degrees, where it is known (default: 65)",
    )
    parser.add_argument(
        "--hand-length-mm",
        type=_number(100, 260),
        metavar="L",
        help=f"wrist crease to middle fingertip, for lifts in true millimetres (default: {TYPICAL_HAND_MM:.1f})",
    )
    parser.add_argument(
        "--stops",
        choices=sorted(FRETTING),
        default="left",
        help="the fretting hand, whose finger lifts are told (default: left; of the other hand more of the "
        "fingers' bends are)",
    )
    parser.add_argument(
        "--mirrored", action="store_true", help="the pictures are mirrored, as selfies can be"
    )
    parser.add_argument(
        "--overlay", type=Path, metavar="DIR", help="write the pictures with what was measured"
    )
    parser.set_defaults(run=run)


def _number(low: float, high: float) -> Any:
    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text!r} is not a number from {low:g} to {high:g}")
        return value

    return read


def run(args: argparse.Namespace) -> int:
    from posturewatch.pipeline.build import load_estimator, load_tracker

    pictures = [(path, read_picture(path)) for path in args.images]
    if args.overlay is not None:
        _make_folder(args.overlay)
    estimator = load_estimator(args.hfov_deg, FRETTING[args.stops])
    scale = 1.0 if args.hand_length_mm is None else args.hand_length_mm / TYPICAL_HAND_MM
    results = []
    with load_tracker("still", mirrored=args.mirrored) as tracker:
        for path, image in pictures:
            results.append(measure(path, image, tracker, estimator, scale, args.overlay))
    if args.json:
        print(json.dumps(results, indent=2, allow_nan=False))
    else:
        for result in results:
            print(_words(result, FRETTING[args.stops]))
    if not any(result["hands"] for result in results):
        print(
            "posturewatch: no hand was seen in any picture; show the whole hand, in good light.",
            file=sys.stderr,
        )
    return 0


def read_picture(path: Path) -> NDArray[np.uint8]:
    """The picture as BGR; raises InputError with one sentence where there is none. Phones' rotation is honoured."""
    import cv2
    import numpy as np

    try:
        data = np.fromfile(path, dtype=np.uint8)
    except OSError as error:
        raise InputError(f"The picture {path} cannot be read ({error.strerror}); check the name.") from error
    image = cv2.imdecode(data, cv2.IMREAD_COLOR) if len(data) else None
    if image is None:
        raise InputError(
            f"{path} is not a picture that can be read; use JPEG or PNG (for films: posturewatch analyse)."
        )
    return np.asarray(image, dtype=np.uint8)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"The folder {folder} cannot be made ({error.strerror}); choose another.") from error


def measure(
    path: Path,
    image: NDArray[np.uint8],
    tracker: Tracker,
    estimator: Estimator,
    scale: float,
    overlay: Path | None,
) -> dict[str, Any]:
    """One picture's result in JSON's types; scale: the player's hand over the typical one."""
    import cv2

    from posturewatch.model.frame import Frame
    from posturewatch.pipeline.drawing import draw_hand

    observation = tracker.observe(Frame(0, 0.0, image))
    measured = estimator.measure(observation)
    hands = [_hand(observation, hand, estimator, scale) for hand in observation.hands]
    if overlay is not None:
        drawn = image.copy()
        written = None
        for hand in observation.hands:
            written = draw_hand(drawn, hand, measured.hand(hand.side), written)
        target = overlay / f"{path.stem}.png"
        good, data = cv2.imencode(".png", drawn)
        if not good:
            raise InputError(f"{target} cannot be written as a picture.")
        try:
            target.write_bytes(data.tobytes())
        except OSError as error:
            raise InputError(
                f"{target} cannot be written ({error.strerror}); choose another folder."
            ) from error
    return {"image": str(path), "hands": hands}


def _hand(
    observation: Observation, hand: HandObservation, estimator: Estimator, scale: float
) -> dict[str, Any]:
    estimate = estimator.estimate(observation, hand)
    flexion = estimator.judged("wrist_flexion", estimate, hand)
    deviation = estimator.judged("wrist_ulnar_deviation", estimate, hand)
    refusal = flexion.refusal or deviation.refusal
    axis = hand.forearm
    return {
        "side": hand.side,
        "score": round(hand.score, 3),
        "hand_axis_px": [_xy(hand.landmarks_px[0]), _xy(hand.landmarks_px[9])],
        "forearm_axis_px": None if axis is None else [_xy(axis.towards_elbow_px), _xy(axis.wrist_px)],
        "wrist": {
            "flexion_deg": _rounded(flexion.value),
            "flexion_sd_deg": _rounded(flexion.sd),
            "ulnar_deviation_deg": _rounded(deviation.value),
            "ulnar_deviation_sd_deg": _rounded(deviation.sd),
            "status": "measured" if refusal is None else "not measurable",
            "reason": None if refusal is None else refusal.value,
        },
        "fingers": _fingers(estimate, hand, estimator, scale),
    }


def _fingers(
    estimate: Estimate, hand: HandObservation, estimator: Estimator, scale: float
) -> list[dict[str, Any]]:
    """Joint flexions of each finger and its lift from the strings, with their deviations; null where the estimate was
    refused or is too uncertain, and for the lift the reason."""
    from posturewatch.kinematics.lift import STRINGS_SEEN, strings_chance
    from posturewatch.model.estimator_outputs import FINGER_JOINTS, LONG_FINGERS

    unseen = strings_chance(hand) < STRINGS_SEEN
    out = []
    for finger in LONG_FINGERS:
        row: dict[str, Any] = {"finger": finger}
        for joint in FINGER_JOINTS:
            value, sd = estimator.finger(f"{finger}_{joint}", estimate)
            row[f"{joint}_flexion_deg"], row[f"{joint}_flexion_sd_deg"] = _rounded(value), _rounded(sd)
        lift, sd = (None, None) if unseen else estimator.finger(f"{finger}_lift", estimate)
        row["lift_mm"] = None if lift is None else _rounded(max(0.0, lift * scale))
        row["lift_sd_mm"] = None if sd is None else _rounded(sd * scale)
        refusal = estimator.judged(f"{finger}_lift", estimate, hand).refusal
        row["lift_reason"] = None if refusal is None else refusal.value
        if unseen and refusal is None:
            row["lift_reason"] = NO_STRINGS
        out.append(row)
    return out


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _xy(point: NDArray[np.float64]) -> list[float]:
    return [round(float(point[0]), 1), round(float(point[1]), 1)]


def _words(result: dict[str, Any], fretting: frozenset[Side]) -> str:
    """fretting: the fretting hands; of the others no lift from the strings is asked."""
    lines = [result["image"]]
    if not result["hands"]:
        lines.append("  no hand seen")
    for hand in result["hands"]:
        wrist = hand["wrist"]
        if wrist["status"] == "measured":
            lines.append(
                f"  {hand['side']} wrist: flexion {wrist['flexion_deg']:+.0f} +- {wrist['flexion_sd_deg']:.0f} deg, "
                f"ulnar deviation {wrist['ulnar_deviation_deg']:+.0f} +- {wrist['ulnar_deviation_sd_deg']:.0f} deg"
            )
        else:
            lines.append(f"  {hand['side']} wrist: not measurable ({wrist['reason']})")
        if hand["side"] not in fretting:
            continue
        lifts = [one for one in hand["fingers"] if one["lift_mm"] is not None]
        told = ", ".join(
            f"{one['finger']} {one['lift_mm']:.0f} +- {one['lift_sd_mm']:.0f} mm" for one in lifts
        )
        missing = {one["finger"]: one["lift_reason"] for one in hand["fingers"] if one["lift_mm"] is None}
        if not lifts:
            told = f"not measurable ({next(iter(missing.values()))})"
        elif missing:
            told += "".join(f", {finger} not measurable ({why})" for finger, why in missing.items())
        lines.append(f"  {hand['side']} fingers, lift from the strings: {told}")
    return "\n".join(lines)

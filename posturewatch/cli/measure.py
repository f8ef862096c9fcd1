"""`posturewatch measure`: what is measured in single pictures."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from posturewatch.cli.options import Subparsers, add_command, add_view, with_view
from posturewatch.errors import InputError
from posturewatch.model.estimator_outputs import LONG_FINGERS
from posturewatch.model.quantities import QUANTITIES, in_group

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from posturewatch.model.measurement import HandMeasurement, Measurement
    from posturewatch.model.observation import HandObservation, Side
    from posturewatch.pipeline.build import Built

__all__ = ["add"]

#: The fretting hands, by the word for them.
FRETTING: dict[str, frozenset[Side]] = {
    "left": frozenset({"left"}),
    "right": frozenset({"right"}),
    "both": frozenset({"left", "right"}),
    "none": frozenset(),
}


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "measure",
        "measure the hands in single pictures",
        "Prints, for each picture and hand, wrist flexion (+) or extension (-) and ulnar (+) or radial (-) "
        "deviation in degrees with their standard deviations, the bends of the fingers' joints and their lift "
        "from the strings in millimetres, or the reason why a quantity is not measurable. A film is more exact "
        "than a picture: see analyse.",
        """
posturewatch measure photo.jpg
posturewatch measure *.jpg --json > angles.json
posturewatch measure photo.jpg --overlay drawn --hfov-deg 68 --hand-length-mm 192
posturewatch measure photo.jpg --fretting-hand right
""",
    )
    parser.add_argument("images", nargs="+", type=Path, metavar="IMAGE", help="picture files")
    parser.add_argument("--json", action="store_true", help="one JSON array, an object for each picture")
    parser.add_argument(
        "--fretting-hand",
        choices=sorted(FRETTING),
        help="the hand on the fingerboard, whose finger lifts are reported (default: that of the settings' "
        "instrument; of the other hand more of the fingers' bends are)",
    )
    add_view(parser)
    parser.add_argument(
        "--overlay", type=Path, metavar="DIR", help="write the pictures with what was measured"
    )
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="settings file (see: posturewatch settings)"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.config.settings import load_settings
    from posturewatch.pipeline.build import build

    settings = with_view(load_settings(args.settings), args)
    fretting = settings.fretting if args.fretting_hand is None else FRETTING[args.fretting_hand]
    pictures = [(path, read_picture(path)) for path in args.images]
    if args.overlay is not None:
        _make_folder(args.overlay)
    built = build("still", settings, fretting=fretting)
    try:
        results = [measure(path, image, built, args.overlay) for path, image in pictures]
    finally:
        built.release()
    if args.json:
        print(json.dumps(results, indent=2, allow_nan=False))
    else:
        for result in results:
            print(_words(result, fretting))
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


def measure(path: Path, image: NDArray[np.uint8], built: Built, overlay: Path | None) -> dict[str, Any]:
    """One picture's result in JSON's types: what `posturewatch analyse` says of a film's first frame.

    Parameters
    ----------
    path
        Where the picture came from.
    image
        (height, width, 3) BGR.
    built
        What looks and measures; the pictures before are forgotten.
    overlay
        Folder for the picture with what was measured, None for none.

    Raises
    ------
    InputError
        The overlay cannot be written.
    """
    from posturewatch.model.frame import Frame

    observation = built.tracker.observe(Frame(0, 0.0, image))
    built.measurer.reset()
    measured = built.measurer.measure(observation)
    hands = [(hand, measured.hand(hand.side)) for hand in observation.hands]
    if overlay is not None:
        _draw(image, hands, overlay / f"{path.stem}.png")
    return {"image": str(path), "hands": [_hand(*each) for each in hands]}


def _draw(
    image: NDArray[np.uint8], hands: list[tuple[HandObservation, HandMeasurement]], target: Path
) -> None:
    import cv2

    from posturewatch.pipeline.drawing import draw_hand

    drawn, written = image.copy(), None
    for hand, measured in hands:
        written = draw_hand(drawn, hand, measured, written)
    good, data = cv2.imencode(".png", drawn)
    if not good:
        raise InputError(f"{target} cannot be written as a picture.")
    try:
        target.write_bytes(data.tobytes())
    except OSError as error:
        raise InputError(f"{target} cannot be written ({error.strerror}); choose another folder.") from error


def _hand(hand: HandObservation, measured: HandMeasurement) -> dict[str, Any]:
    flexion, deviation = (measured.values[entry.name] for entry in in_group("wrist"))
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
        "fingers": [_finger(finger, measured) for finger in LONG_FINGERS],
        "lift_plane": measured.lift_plane,
        "quantities": {
            entry.name: {"unit": entry.unit, **_measurement(measured.values[entry.name])}
            for entry in QUANTITIES
        },
    }


def _finger(finger: str, measured: HandMeasurement) -> dict[str, Any]:
    """The bends of one finger's joints and its lift, with their deviations; null where there is none, and for the lift
    the reason."""
    row: dict[str, Any] = {"finger": finger}
    for joint in ("pip", "dip"):
        one = measured.values[f"{finger}_{joint}"]
        row[f"{joint}_flexion_deg"], row[f"{joint}_flexion_sd_deg"] = _rounded(one.value), _rounded(one.sd)
    lift = _measurement(measured.values[f"{finger}_lift"])
    return row | {"lift_mm": lift["value"], "lift_sd_mm": lift["sd"], "lift_reason": lift["reason"]}


def _measurement(one: Measurement) -> dict[str, Any]:
    return {
        "value": _rounded(one.value),
        "sd": _rounded(one.sd),
        "reason": None if one.refusal is None else one.refusal.value,
    }


def _rounded(value: float | None) -> float | None:
    """As in `samples.csv`; adding 0 makes a plain zero of what is rounded to -0."""
    return None if value is None else round(value, 2) + 0.0


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
        if hand["side"] in fretting:
            lines.append(f"  {hand['side']} fingers, lift from the strings: {_lifts(hand['fingers'])}")
    return "\n".join(lines)


def _lifts(fingers: list[dict[str, Any]]) -> str:
    lifts = [one for one in fingers if one["lift_mm"] is not None]
    missing = {one["finger"]: one["lift_reason"] for one in fingers if one["lift_mm"] is None}
    if not lifts:
        return f"not measurable ({next(iter(missing.values()))})"
    said = [f"{one['finger']} {one['lift_mm']:.0f} +- {one['lift_sd_mm']:.0f} mm" for one in lifts]
    return ", ".join([*said, *(f"{finger} not measurable ({why})" for finger, why in missing.items())])

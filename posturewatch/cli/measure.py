"""`posturewatch measure`: what is measured in single images."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from posturewatch.cli.options import Subparsers, add_command, add_view, with_view
from posturewatch.errors import InputError

if TYPE_CHECKING:
    from posturewatch.model.observation import Side

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
        "measure the hands in single images",
        "Prints, for each image and hand, wrist flexion (+) or extension (-) and ulnar (+) or radial (-) "
        "deviation in degrees with their standard deviations, with --json the bends of the fingers' joints, and their "
        "lift from the strings in millimetres, or the reason why a quantity is not measurable. A video is more exact "
        "than an image: see analyse.",
        """
posturewatch measure photo.jpg
posturewatch measure *.jpg --json > angles.json
posturewatch measure photo.jpg --overlay drawn --hfov-deg 68 --hand-length-mm 192
posturewatch measure photo.jpg --fretting-hand right
""",
    )
    parser.add_argument("images", nargs="+", type=Path, metavar="IMAGE", help="image files")
    parser.add_argument("--json", action="store_true", help="one JSON array, an object for each image")
    parser.add_argument(
        "--fretting-hand",
        choices=sorted(FRETTING),
        help="the hand on the fingerboard, whose finger lifts are reported (default: that of the settings' "
        "instrument; of the other hand more of the fingers' bends are)",
    )
    add_view(parser)
    parser.add_argument("--overlay", type=Path, metavar="DIR", help="write the images with what was measured")
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="settings file (see: posturewatch settings)"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.config.settings import load_settings
    from posturewatch.pipeline.build import build
    from posturewatch.pipeline.single_images import measure_image, read_image

    settings = with_view(load_settings(args.settings), args)
    fretting = settings.fretting if args.fretting_hand is None else FRETTING[args.fretting_hand]
    images = [(path, read_image(path)) for path in args.images]
    if args.overlay is not None:
        _make_folder(args.overlay)
    built = build("still", settings, fretting=fretting)
    try:
        results = [measure_image(path, image, built, args.overlay) for path, image in images]
    finally:
        built.release()
    if args.json:
        print(json.dumps(results, indent=2, allow_nan=False))
    else:
        for result in results:
            print(_words(result, fretting))
    if not any(result["hands"] for result in results):
        print(
            "posturewatch: no hand was seen in any image; show the whole hand, in good light.",
            file=sys.stderr,
        )
    return 0


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"The folder {folder} cannot be made ({error.strerror}); choose another.") from error


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

"""Whether following what is said of a view lessens the error: the same rendered player, before and after.

    python -m calibration.evaluate.instructed --bodies BODIES.npz --keep DIR     # renders what DIR lacks (hours)
    python -m calibration.evaluate.instructed --keep DIR                         # tells of what is there (seconds)

Each player of the test split, on seeds of their own, begins at a bad place (`PLACES`, in turn) and is looked at for
three seconds by the program's own tracker, measurer and placement watch. What that says is done, as
`calibration.evaluate.followed` reads the page's sentence; then the same movement is played again before the camera as
it stands now, up to three times or until nothing is said. Rules were chosen on the first 32 players; the others
judge.
What was rendered is kept by what led there, so that other rules render only what they lead to.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from calibration.body.bodies import load_bodies
from calibration.evaluate.instructed_report import Followed, Seen, lines
from posturewatch.comfort.looks import Advice, HandLook, Look, Placement, PlacementRules
from posturewatch.comfort.placement import PlacementCheck
from posturewatch.config.settings import Settings
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import in_group
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Verdict
from posturewatch.pipeline.build import build
from posturewatch.pipeline.view.placement_watch import PlacementWatch, matters_most

if TYPE_CHECKING:
    from calibration.dataset.film import Film
    from calibration.dataset.scenes import Studio
    from calibration.scene.player import Player

__all__ = ["MOST_INSTRUCTIONS", "PLACES"]

#: The shipped videos have as many frames a second, and after three seconds the page speaks; more would take as much
#: longer to render.
RATE_HZ, FRAMES, MOVEMENT_S = 7.5, 24, 4.0
RULES = PlacementRules(min_rate_hz=0.0)
MOST_INSTRUCTIONS = 3
SEED = 61 * 10_000_000
CHOSEN_ON = 32  # players
#: Of either look; the larger one of the photographed look would take four times as long to render.
SIZES = {"photo": (640, 480), "plain": (960, 540)}
PLACES = ("side", "front", "far", "near", "forearm", "dark", "blurred", "sleeve", "ordinary")
WRIST = tuple(entry.name for entry in in_group("wrist"))
TIMES_S = [k / RATE_HZ for k in range(FRAMES)]
_NOTHING = Verdict(0.0, {}, {}, (), (), (), (), ())  # the placement watch asks for none
_SHOWN = 10


@dataclass
class _Keeping(PlacementCheck):
    """The page's check, which keeps what it is given."""

    looks: list[Look] = field(default_factory=list)

    def add(self, look: Look) -> None:
        self.looks.append(look)
        super().add(look)


def look_of_player(number: int) -> str:
    """One in five is photographed, in time from each place."""
    return "photo" if number % 5 == 3 else "plain"


def settings_of(handedness: str) -> Settings:
    """A guitarist's."""
    return Settings().changed("instrument", handedness=handedness)


def judged(looks: Sequence[dict[str, Any]], handedness: str) -> Placement:
    """What is said of kept looks."""
    check = PlacementCheck(matters_most(settings_of(handedness)), RULES)
    for one in looks:
        check.add(read_look(one))
    return check.result()


def look_json(look: Look) -> dict[str, Any]:
    """A look in JSON's types."""
    out = asdict(look)
    for hand in out["hands"].values():
        numbers = hand["numbers"]
        hand["numbers"] = {
            name: one.value if isinstance(one, Refusal) else one for name, one in numbers.items()
        }
    return out


def read_look(one: dict[str, Any]) -> Look:
    """What `look_json` wrote."""
    hands = {}
    for side, hand in one["hands"].items():
        numbers = {name: Refusal(sd) if isinstance(sd, str) else sd for name, sd in hand["numbers"].items()}
        hands[side] = HandLook(**(hand | {"numbers": numbers}))
    return Look(**(one | {"hands": hands}))


def begun_at(place: str, film: Film, players: list[Player], rng: np.random.Generator) -> Film:
    """The film from a bad place; the rest is as good as its seed has it, and the camera 10 to 50 degrees from straight
    ahead towards the head of the instrument."""
    from calibration.dataset.film import Hindrance
    from calibration.dataset.scenes import dressed
    from calibration.evaluate.followed import facing
    from calibration.evaluate.moved_view import nearer, round_player

    if place == "ordinary":
        return film
    towards = {"side": (-50.0, -25.0), "front": (75.0, 105.0)}.get(place, (10.0, 50.0))
    wanted = facing(players[0]) * float(rng.uniform(*towards))
    film = replace(film, view=round_player(film.view, wanted - film.view.azimuth_deg))
    if place == "far":
        return replace(film, view=nearer(film.view, float(rng.uniform(1.8, 2.6))))
    if place == "near":
        return replace(film, view=nearer(film.view, float(rng.uniform(0.35, 0.5))))
    if place == "forearm":
        return replace(film, view=_past_forearm(film, players))
    if place == "dark":
        return replace(film, hindrance=Hindrance(dim=0.05))
    if place == "blurred":
        return replace(film, hindrance=Hindrance(blur_px=float(rng.uniform(6, 9))))
    if place == "sleeve":
        look = replace(film.figure.look, sleeves=(2.12, 2.12), bands=(None, None), looseness_m=0.02)
        return dressed(film, look)
    return film


def _past_forearm(film: Film, players: list[Player]) -> Any:
    """The camera nearer, and turned past the fretting hand until the forearm leaves the picture."""
    from calibration.evaluate.followed import forearm_points, hand_points
    from calibration.evaluate.moved_view import inside, nearer, turned_to

    side: Side = "left" if players[0].handedness == "right" else "right"
    hand, forearm = hand_points(players, side), forearm_points(players, side)
    middle = hand.mean(axis=0)
    away = middle - forearm.mean(axis=0)
    view = turned_to(nearer(film.view, 0.6), middle)
    for share in np.arange(0.0, 4.0, 0.1):
        turned = turned_to(view, middle + share * away)
        if not inside(turned, hand):
            return view
        view = turned
        if not any(inside(view, one[None], 0.0) for one in forearm):
            return view
    return view


def looked(studio: Studio, film: Film, players: list[Player], picture: Path) -> dict[str, Any]:
    """What there is to keep of some seconds of a film; one of its pictures is written."""
    settings = settings_of(players[0].handedness)
    built = build("video", settings)
    looks: list[Look] = []
    watch = PlacementWatch(lambda: settings, check=lambda matters: _Keeping(matters, RULES, looks=looks))
    rows: dict[str, list[Any]] = {name: [] for name in ("value", "sd", "true", "visible")}
    for index, (time_s, image, label) in enumerate(studio.filmed(film, TIMES_S, players)):
        frame = Frame(index, time_s, image)
        observation = built.tracker.observe(frame)
        measurement = built.measurer.measure(observation)
        watch.put(Reading(frame, observation, measurement, _NOTHING, {}, 0.0, 0))
        values = [[measurement.hand(side).values[name] for name in WRIST] for side in SIDES]
        rows["value"].append([[_short(one.value) for one in hand] for hand in values])
        rows["sd"].append([[_short(one.sd) for one in hand] for hand in values])
        truths = [next(one for one in label["hands"] if one["side"] == side) for side in SIDES]
        rows["true"].append(
            [[_short(one["flexion_deg"]), _short(one["ulnar_deviation_deg"])] for one in truths]
        )
        rows["visible"].append([[one["hand_visible"], one["forearm_visible"]] for one in truths])
        if index == _SHOWN:
            width = 640 * image.shape[1] // max(image.shape[:2])
            small = cv2.resize(image, (width, width * image.shape[0] // image.shape[1]))
            cv2.imwrite(str(picture), small)
    built.release()
    view, facing_left = film.view, 1 if players[0].handedness == "right" else -1
    where = [facing_left * view.azimuth_deg, view.elevation_deg, view.distance_m]
    return rows | {"looks": [look_json(one) for one in looks], "view": [round(one, 2) for one in where]}


def _short(value: float | None) -> float | None:
    return None if value is None else round(float(value), 2)


def player(studio: Studio | None, number: int, folder: Path) -> Followed | None:
    """One player from a bad place, and after every instruction; without a studio from what is kept alone, None where
    something is missing."""
    place = PLACES[number % len(PLACES)]
    path, scene, halted = f"{number:03d}", None, False
    looks: list[dict[str, Any]] = []
    for step in range(MOST_INSTRUCTIONS + 1):
        file = folder / f"{path}.json"
        if not file.exists():
            if studio is None:
                return None
            scene = scene or _Scene(studio, number, place)
            scene.play(advices_of(looks)[:step])
            kept = (
                None
                if scene.film is None
                else looked(studio, scene.film, scene.players, file.with_suffix(".png"))
            )
            about = {"handedness": scene.players[0].handedness}
            file.write_text(json.dumps(None if kept is None else kept | about), encoding="utf-8")
        one = json.loads(file.read_text(encoding="utf-8"))
        if one is None:
            halted = True
            break
        one["found"] = judged(one["looks"], one["handedness"])
        looks.append(one)
        advice = one["found"].advice
        if advice is None:
            break
        path += f"+{word(advice)}"
    return Followed(
        number,
        place,
        look_of_player(number) == "photo",
        SIDES.index("left" if looks[0]["handedness"] == "right" else "right"),
        number < CHOSEN_ON,
        tuple(
            Seen(np.array(one["value"], float), np.array(one["true"], float), one["found"]) for one in looks
        ),
        halted,
    )


def advices_of(looks: list[dict[str, Any]]) -> list[Advice]:
    """What was said, look after look."""
    return [one["found"].advice for one in looks]


def word(advice: Advice) -> str:
    """An advice as a part of a file's name."""
    parts = (advice.help.value.replace(" ", "_"), advice.side, advice.move_deg and f"{advice.move_deg:.0f}")
    return "_".join(one for one in parts if one)


class _Scene:
    """A player's film, from its beginning to where some advices lead."""

    def __init__(self, studio: Studio, number: int, place: str) -> None:
        framing = None if place == "ordinary" else "upper"
        film = studio.film(SEED + number, "test", framing, MOVEMENT_S, SIZES[studio.look])
        self.players = list(film.players(TIMES_S))
        self.begun = begun_at(place, film, self.players[::8], np.random.default_rng([SEED, number]))
        self.film: Film | None = self.begun

    def play(self, advices: list[Advice]) -> None:
        from calibration.evaluate.followed import follow

        self.film = self.begun
        for advice in advices:
            if self.film is not None:
                self.film = follow(advice, self.film, self.players[::8])


def render(bodies: Path, folder: Path, numbers: range, said: Callable[[str], None] = print) -> None:
    """Renders the players that are not kept yet."""
    from calibration.dataset.scenes import LOOKS, Studio
    from calibration.render.render import Renderer

    cv2.setNumThreads(1)
    folder.mkdir(parents=True, exist_ok=True)
    loaded = load_bodies(bodies)
    renderer = Renderer(loaded)
    studios = {look: Studio(loaded, renderer, look) for look in LOOKS}
    for number in numbers:
        try:
            row = player(studios[look_of_player(number)], number, folder)
        except RuntimeError as error:  # no plausible pose for this seed
            said(f"{number}: {error}")
            continue
        if row is not None:
            said(f"{number} {row.place}: {', '.join(word(one) for one in row.told) or 'nothing said'}")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--bodies", type=Path, help="identities baked by calibration.body.bodies; renders")
    parser.add_argument("--keep", type=Path, required=True, help="folder of what was rendered and measured")
    parser.add_argument("--players", type=int, default=72)
    args = parser.parse_args()
    if args.bodies is not None:
        render(args.bodies, args.keep, range(args.players))
    kept = [player(None, number, args.keep) for number in range(args.players)]
    print("\n".join(lines([one for one in kept if one is not None])))


if __name__ == "__main__":
    main()

"""Makes everything that is learned, or single stages of it, as `recipe.toml` says.

    python -m calibration.recipe --data DIR                   # all stages, those that are complete left out
    python -m calibration.recipe crops forearm --data DIR     # only these, whatever else is there
    python -m calibration.recipe --toy --data DIR             # in minutes, to see that every stage runs

A stage that was cut short goes on where it was. Rendering wants the `calibration` extra and OpenGL through EGL (a GPU
or Mesa); training wants a GPU. A stage for which something is missing here says so in one sentence, and those that need
no such thing go on.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import json
import os
import subprocess
import sys
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from posturewatch.config.resources import calibration_dir
from posturewatch.errors import PosturewatchError

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

__all__ = ["Stage", "main", "read_stages"]

RECIPE = Path(__file__).with_suffix(".toml")
_KEYS = {"about", "module", "after", "gives", "needs", "arguments", "runs", "toy"}


class RecipeError(PosturewatchError):
    """The recipe, or what was asked of it, makes no sense; says in one sentence what to do."""


@dataclass(frozen=True)
class Stage:
    """One step of the recipe.

    Attributes
    ----------
    name, about : str
        What it is called, and what it makes.
    module : str
        What is run with ``python -m``.
    after : tuple of str
        Stages that must be complete before.
    gives : str
        The place that it helps to fill; where one is handed over, the stage is left out. Empty where there is none.
    needs : tuple of str
        Packages beyond those that the program itself wants.
    runs : tuple of dict
        The arguments of each run.
    toy : dict
        What every run has instead in toy size.
    """

    name: str
    about: str
    module: str
    after: tuple[str, ...]
    gives: str
    needs: tuple[str, ...]
    runs: tuple[Mapping[str, Any], ...]
    toy: Mapping[str, Any]

    def commands(self, places: Mapping[str, str], toy: bool) -> list[list[str]]:
        """The options of each run, with the places filled in; what belongs to another kind of run is left out of the
        toy's."""
        out = []
        for run in self.runs:
            own = {name: value for name, value in self.toy.items() if name in run} if toy else {}
            out.append([word for item in {**run, **own}.items() for word in _words(*item, places)])
        return out

    def missing(self) -> list[str]:
        """The packages that it needs and that are not installed."""
        return [name for name in self.needs if importlib.util.find_spec(name) is None]


def _words(name: str, value: Any, places: Mapping[str, str]) -> list[str]:
    if isinstance(value, bool):
        return [f"--{name}"] if value else []
    values = [str(one).format_map(places) for one in (value if isinstance(value, list) else [value])]
    return [f"--{name}", *values] if name else values


def read_stages(path: Path = RECIPE) -> dict[str, Stage]:
    """All stages in their order.

    Raises
    ------
    RecipeError
        Where a stage has an unknown key, or comes before one that it must come after.
    """
    stages: dict[str, Stage] = {}
    for name, table in tomllib.loads(path.read_text(encoding="utf-8")).items():
        unknown = sorted(table.keys() - _KEYS)
        early = [other for other in table.get("after", ()) if other not in stages]
        if unknown or early:
            raise RecipeError(
                f"Stage {name} of {path.name}: {', '.join(unknown + early)} is not known there."
            )
        shared = table.get("arguments", {})
        stages[name] = Stage(
            name,
            table["about"],
            table["module"],
            tuple(table.get("after", ())),
            table.get("gives", ""),
            tuple(table.get("needs", ())),
            tuple({**shared, **run} for run in table.get("runs", ({},))),
            table.get("toy", {}),
        )
    return stages


@dataclass(frozen=True)
class Kitchen:
    """Where stages are run. places: what stands for {data} and the like; handed: which of them hold already what
    stages would make; toy: whether in toy size."""

    places: Mapping[str, str]
    handed: Collection[str]
    toy: bool

    def _note(self, stage: Stage) -> Path:
        return Path(self.places["data"]) / "complete" / f"{stage.name}.json"

    def _mark(self, stage: Stage) -> str:
        """What tells whether a complete stage was made by today's recipe; where things lie does not matter."""
        said = stage.commands({name: name for name in self.places}, self.toy)
        return hashlib.sha256(json.dumps([stage.module, said]).encode()).hexdigest()

    def complete(self, stage: Stage) -> bool:
        """Raises RecipeError where it was made by another recipe."""
        if stage.gives in self.handed:
            return True
        note = self._note(stage)
        if not note.exists():
            return False
        if json.loads(note.read_text(encoding="utf-8"))["mark"] != self._mark(stage):
            raise RecipeError(
                f"{note.parent.parent} holds {stage.name} made with other sizes or seeds; give an empty folder with "
                f"--data, or delete what that stage made together with {note.name}."
            )
        return True

    def run(self, stage: Stage) -> None:
        """Raises RecipeError where it fails."""
        Path(self.places["data"]).mkdir(parents=True, exist_ok=True)
        for words in stage.commands(self.places, self.toy):
            print(f"{stage.name}: python -m {stage.module} {' '.join(words)}", flush=True)
            done = subprocess.run([sys.executable, "-m", stage.module, *words], check=False)
            if done.returncode != 0:
                raise RecipeError(
                    f"{stage.name} was not finished; see what it printed, and give the same command again to go on."
                )
        note = self._note(stage)
        note.parent.mkdir(exist_ok=True)
        note.write_text(json.dumps({"mark": self._mark(stage)}), encoding="utf-8")


def cook(kitchen: Kitchen, stages: Mapping[str, Stage], asked: Sequence[str]) -> int:
    """Runs the stages asked for, all of them where none is named; how many could not be run here."""
    left_out = 0
    for name in asked or stages:
        stage = stages[name]
        if kitchen.complete(stage):
            here = (
                f"taken from {kitchen.places[stage.gives]}" if stage.gives in kitchen.handed else "complete"
            )
            print(f"{name}: {here}")
            continue
        missing = stage.missing()
        waits = [] if asked else [other for other in stage.after if not kitchen.complete(stages[other])]
        if missing:
            print(
                f"{name}: needs {' and '.join(missing)}, not installed here; install posturewatch[calibration]."
            )
        elif waits:
            print(f"{name}: waits for {' and '.join(waits)}.")
        else:
            kitchen.run(stage)
            continue
        left_out += 1
    return left_out


def main(argv: Sequence[str] | None = None) -> int:
    """0 where every stage asked for is complete, 1 where some could not be run here, 2 where one failed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("stages", nargs="*", metavar="STAGE", help="all of them, where left out")
    parser.add_argument("--toy", action="store_true", help="in toy size")
    parser.add_argument("--list", action="store_true", help="say what there is, and run nothing")
    parser.add_argument("--data", type=Path, help="where everything is put; ~/.cache/posturewatch/recipe")
    parser.add_argument("--bodies", type=Path, help="baked body identities, instead of making them")
    parser.add_argument("--networks", type=Path, help="folder of both networks, instead of making them")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, help="processes that render")
    args = parser.parse_args(argv)
    data = args.data or Path.home() / ".cache" / "posturewatch" / ("recipe-toy" if args.toy else "recipe")
    places = {
        "data": str(data),
        "bodies": str(args.bodies or data / "bodies.npz"),
        "networks": str(args.networks or data / "weights"),
        "shipped": str(calibration_dir() / "weights"),
        "workers": str(args.workers),
    }
    try:
        stages = read_stages()
        unknown = [name for name in args.stages if name not in stages]
        if unknown:
            raise RecipeError(f"There is no stage {', '.join(unknown)}; there are {', '.join(stages)}.")
        handed = {name: path for name in ("bodies", "networks") if (path := getattr(args, name)) is not None}
        absent = [f"--{name} {path}" for name, path in handed.items() if not path.exists()]
        if absent:
            raise RecipeError(f"There is no {' and no '.join(absent)}; leave it out, and it is made.")
        if args.list:
            for stage in stages.values():
                print(f"{stage.name:10s} {stage.about}")
            return 0
        return 1 if cook(Kitchen(places, handed, args.toy), stages, args.stages) else 0
    except RecipeError as error:
        print(error, file=sys.stderr)
        return 2


if __name__ == "__main__":
    raise SystemExit(main())

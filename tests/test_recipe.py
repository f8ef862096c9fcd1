"""The recipe: its stages, what is left out, what goes on, and what is missing; no stage is rendered or trained here."""

from __future__ import annotations

import ast
import importlib.util
import json
from pathlib import Path

import pytest

from calibration import recipe
from calibration.recipe import RecipeError, main, read_stages

PLACES = {name: name for name in ("data", "bodies", "networks", "shipped", "workers")}


def options_of(module: str) -> set[str]:
    """The options that a module's source gives to argparse, or those of the module that its `__main__` runs."""
    names = [f"{module}.__main__", module] if module == "calibration.evaluate" else [module]
    if module == "calibration.evaluate":
        names.append("calibration.evaluate.report")
    out: set[str] = set()
    for name in names:
        found = importlib.util.find_spec(name)
        assert found is not None
        assert found.origin is not None
        for node in ast.walk(ast.parse(Path(found.origin).read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "add_argument":
                out |= {str(word.value) for word in node.args if isinstance(word, ast.Constant)}
    return out


def test_every_stage_gives_its_command_only_options_that_it_has() -> None:
    for stage in read_stages().values():
        known = options_of(stage.module)
        for toy in (False, True):
            for words in stage.commands(PLACES, toy):
                given = {word for word in words if word.startswith("--")}
                assert given, stage.name
                assert given <= known, stage.name


def test_what_is_tracked_for_the_test_split_never_has_the_seed_of_training_rows() -> None:
    seeds: dict[str, set[int]] = {}
    for stage in read_stages().values():
        for run in stage.runs:
            if "seed" in run and "split" in run:
                seeds.setdefault(run["split"], set()).add(run["seed"])
    assert set(seeds) == {"train", "cal", "test"}
    assert sum(map(len, seeds.values())) == len(set.union(*seeds.values()))


def small_recipe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: str, needs: str = "") -> Path:
    """Two stages: one that runs `code` with two files' names, one that comes after it and needs a package."""
    (tmp_path / "small_stage.py").write_text(f"import pathlib, sys\n{code}\n", encoding="utf-8")
    path = tmp_path / "small.toml"
    path.write_text(
        f"""
        [first]
        about = "two files"
        module = "small_stage"
        arguments = {{ "" = "{{data}}/one", count = 3 }}
        runs = [{{}}, {{ "" = "{{data}}/two" }}]
        toy = {{ count = 1 }}
        [second]
        about = "nothing"
        module = "small_stage"
        after = ["first"]
        needs = [{needs}]
        arguments = {{ "" = "{{data}}/three" }}
        """,
        encoding="utf-8",
    )
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.setattr(recipe, "RECIPE", path)
    monkeypatch.setattr(recipe, "read_stages", lambda: read_stages(path))
    return tmp_path / "data"


WRITES = "p = pathlib.Path(sys.argv[1]); p.write_text(' '.join(sys.argv[2:]) + (p.read_text() if p.exists() else ''))"


def test_what_is_complete_is_left_out_and_what_is_not_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    data = small_recipe(tmp_path, monkeypatch, WRITES)
    assert main(["first", "--data", str(data)]) == 0
    assert [(data / name).read_text() for name in ("one", "two")] == ["--count 3", "--count 3"]
    assert main(["--data", str(data)]) == 0
    assert (data / "one").read_text() == "--count 3"  # not run again
    assert (data / "three").exists()
    assert "first: complete" in capfd.readouterr().out
    # In toy size the same folder would be another recipe's.
    assert main(["--toy", "--data", str(data)]) == 2
    assert "made with other sizes or seeds" in capfd.readouterr().err
    assert main(["first", "--toy", "--data", str(data / "toy")]) == 0
    assert (data / "toy" / "one").read_text() == "--count 1"


def test_a_stage_that_fails_stops_the_rest_and_is_run_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    fails_once = (
        "q = pathlib.Path(sys.argv[1] + '.tried'); again = q.exists(); q.touch()\nif not again: sys.exit(3)"
    )
    data = small_recipe(tmp_path, monkeypatch, f"{fails_once}\n{WRITES}")
    assert main(["--data", str(data)]) == 2
    assert "give the same command again to go on" in capfd.readouterr().err
    assert not (data / "three.tried").exists()
    assert [main(["--data", str(data)]) for _ in range(3)] == [2, 2, 0]
    assert json.loads((data / "complete" / "second.json").read_text())["mark"]


def test_what_is_missing_here_is_said_in_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    data = small_recipe(tmp_path, monkeypatch, WRITES, '"no_such_package"')
    assert main(["--data", str(data)]) == 1
    said = [line for line in capfd.readouterr().out.splitlines() if line.startswith("second")]
    assert said == ["second: needs no_such_package, not installed here; install posturewatch[calibration]."]
    assert main(["third", "--data", str(data)]) == 2
    assert "There is no stage third; there are first, second." in capfd.readouterr().err


def test_a_recipe_with_an_unknown_key_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text('[one]\nabout = ""\nmodule = "x"\nsize = 3\n', encoding="utf-8")
    with pytest.raises(RecipeError, match=r"Stage one of bad\.toml: size"):
        read_stages(path)


def test_what_is_handed_over_has_to_be_there(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    options = ["--data", str(tmp_path / "data"), "--bodies", str(tmp_path / "none.npz")]
    assert main(options) == 2
    said = capfd.readouterr().err
    assert said == f"There is no --bodies {tmp_path / 'none.npz'}; leave it out, and it is made.\n"
    assert not (tmp_path / "data").exists()

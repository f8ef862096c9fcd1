"""What the papers promise exists: commands and their options, settings, modules, files, routes; and their figures are
those that the evaluation printed."""

from __future__ import annotations

import argparse
import importlib.util
import re
from pathlib import Path

import pytest

from calibration.evaluate.papers import PAPERS, REPORT, table, with_table
from calibration.evaluate.report import fingerprints
from posturewatch.cli.main import build_parser
from posturewatch.config.settings import example_settings

ROOT = Path(__file__).resolve().parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md", "calibration/MODEL_CARD.md")
#: Where a path in the papers may begin.
PLACES = (ROOT, ROOT / "posturewatch", ROOT / "calibration", ROOT / "tests", ROOT / "web")

#: What commands make.
MADE = ("samples.csv", "summary.json", ".venv/bin", ".venv\\Scripts\\")


def text_of(document: str) -> str:
    return (ROOT / document).read_text(encoding="utf-8")


def code_in(document: str) -> list[str]:
    """What stands in backticks in a line."""
    return re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text_of(document), flags=re.M | re.S))


def sources(*folders: str) -> str:
    files = sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))
    return "\n".join(path.read_text(encoding="utf-8") for path in files)


def commands() -> dict[str, argparse.ArgumentParser]:
    (action,) = (one for one in build_parser()._actions if isinstance(one, argparse._SubParsersAction))
    return dict(action.choices)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_named_exists_with_its_options(document: str) -> None:
    known = commands()
    for code in code_in(document):
        named = re.match(r"(?:\.venv/bin/)?posturewatch ([a-z]+)(.*)", code)
        if named is not None:
            assert named[1] in known, code
            options = set(re.findall(r"--[a-z-]+", named[2]))
            assert options <= set(known[named[1]]._option_string_actions), code


def test_the_readme_names_every_command() -> None:
    text = text_of("README.md")
    assert {name for name in commands() if f"posturewatch {name}" not in text} == set()


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_module_to_run_exists(document: str) -> None:
    for module in set(re.findall(r"python -m ((?:calibration|posturewatch)[.\w]*)", text_of(document))):
        assert importlib.util.find_spec(module.rstrip(".")) is not None, module


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_named_exists(document: str) -> None:
    for code in code_in(document):
        if re.fullmatch(r"[\w./-]+\.(py|toml|csv|md|onnx|npz|txt|jpg|svg|png)|[\w./-]+/", code):
            named = code.rstrip("/")
            if named in MADE or "NAME" in named:
                continue
            anywhere = "/" not in named and any(ROOT.rglob(named))
            assert anywhere or any((place / named).exists() for place in PLACES), code


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_picture_and_link_is_there(document: str) -> None:
    here = (ROOT / document).parent
    for target in re.findall(r"\]\(([^)#:]+)\)", text_of(document)):
        assert (here / target).exists(), target


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_name_in_the_code_exists(document: str) -> None:
    for code in code_in(document):
        if re.fullmatch(r"(posturewatch|calibration|kinematics|tracking|comfort|exposure)(\.\w+)+", code):
            whole = code if code.startswith(("posturewatch", "calibration")) else f"posturewatch.{code}"
            parts = whole.split(".")
            path = next(
                found
                for count in range(len(parts), 0, -1)
                for found in (ROOT.joinpath(*parts[:count]).with_suffix(".py"), ROOT.joinpath(*parts[:count]))
                if found.exists()
            )
            if path.suffix:
                assert re.search(rf"\b{parts[-1]}\b", path.read_text(encoding="utf-8")), code
        elif re.fullmatch(r"[A-Z][a-z]\w+\.\w+", code):
            owner, name = code.split(".")
            own = re.search(
                rf"^class {owner}\b.*?(?=^\S)", sources("posturewatch", "calibration"), re.M | re.S
            )
            assert own is not None, code
            assert re.search(rf"\b{name}\b", own[0]), code


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_setting_and_route_named_exists(document: str) -> None:
    example, server = example_settings(), sources("posturewatch/server")
    sections = dict(re.findall(r"^\[([\w.]+)\]\n(.*?)(?=^\[|\Z)", example, re.M | re.S))
    for code in code_in(document):
        setting = re.fullmatch(r"([a-z]+)\.([a-z_]+)", code)
        if setting is not None and setting[1] in sections:
            assert re.search(rf"^#? ?{setting[2]} =", sections[setting[1]], re.M), code
        route = re.match(r"(?:GET|POST|PUT|PATCH|DELETE)? ?(/api/[a-z/-]+)", code)
        if route is not None:
            assert route[1] in server or route[1].removeprefix("/api") in server, code


def test_the_test_command_is_the_one_of_the_checks() -> None:
    for part in ("python3 -m venv .venv", '-e ".[test]"', ".venv/bin/python -m pytest"):
        assert part in text_of("README.md")
        assert part in text_of(".ci/run")


def test_the_readme_is_read_in_a_few_minutes() -> None:
    assert len(text_of("README.md").splitlines()) <= 132


@pytest.mark.parametrize("paper", PAPERS, ids=lambda path: path.name)
def test_figures_are_those_that_the_evaluation_printed(paper: Path) -> None:
    text = paper.read_text(encoding="utf-8")
    assert with_table(text, table(REPORT.read_text(encoding="utf-8"))) == text, (
        "run python -m calibration.evaluate.papers"
    )


def test_the_evaluation_is_of_the_weights_that_are_shipped() -> None:
    assert REPORT.read_text(encoding="utf-8").startswith(f"{fingerprints()}\n"), (
        "run python -m calibration.evaluate > calibration/evaluate/report.txt"
    )

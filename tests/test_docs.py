"""What the README and the contributors' guide promise exists."""

from __future__ import annotations

import argparse
import importlib.util
import re
from pathlib import Path

import pytest

from posturewatch.cli.main import build_parser

ROOT = Path(__file__).resolve().parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md", "calibration/MODEL_CARD.md")


def commands() -> dict[str, argparse.ArgumentParser]:
    (action,) = (one for one in build_parser()._actions if isinstance(one, argparse._SubParsersAction))
    return dict(action.choices)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_named_exists(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    named = set(re.findall(r"`(?:\.venv/bin/)?posturewatch ([a-z]+)", text))
    assert named <= set(commands())


def test_the_readme_names_every_command() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert {name for name in commands() if f"posturewatch {name}" not in text} == set()


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_module_to_run_exists(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    for module in set(re.findall(r"python -m ((?:calibration|posturewatch)[.\w]*)", text)):
        assert importlib.util.find_spec(module) is not None, module


def test_the_test_command_is_the_one_of_the_checks() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    checks = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for part in ("python3 -m venv .venv", '-e ".[test]"', ".venv/bin/python -m pytest"):
        assert part in readme
        assert part in checks

"""The locked sets: what is checked is what is installed, nothing left out is used, the list of parts is true."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

#: Packages whose modules have another name.
MODULES = {
    "absl-py": "absl",
    "attrs": "attr",
    "fonttools": "fontTools",
    "protobuf": "google",
    "python-dateutil": "dateutil",
}


def locked(path: str) -> set[tuple[str, str]]:
    text = (ROOT / path).read_text(encoding="utf-8")
    return set(re.findall(r"^([A-Za-z0-9._-]+)==([^ ]+) ", text, re.M))


def left_out() -> list[str]:
    lines = (ROOT / ".ci/left-out.txt").read_text(encoding="utf-8").splitlines()
    return [line.split(" ")[0] for line in lines if line and not line.startswith("#")]


def test_what_is_installed_is_what_is_checked() -> None:
    lean, checked = locked(".ci/lean.txt"), locked(".ci/requirements.txt")
    assert lean
    assert lean <= checked
    assert {name for name, _ in lean} & set(left_out()) == set()
    assert set(left_out()) <= {name for name, _ in checked}


def test_the_list_of_parts_is_of_the_locked_set() -> None:
    # CycloneDX 1.6: components with name and version.
    parts = json.loads((ROOT / ".ci" / "sbom.cdx.json").read_text(encoding="utf-8"))
    assert parts["bomFormat"] == "CycloneDX"
    assert {(one["name"], one["version"]) for one in parts["components"]} == locked(".ci/lean.txt")
    assert parts["metadata"]["component"]["name"] == "posturewatch"


def test_nothing_that_is_left_out_is_imported() -> None:
    imported = set()
    for path in (ROOT / "posturewatch").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [one.name for one in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) and not node.level else []
            imported |= {name.partition(".")[0] for name in names}
    assert imported & {MODULES.get(name, name) for name in left_out()} == set()
    assert {"numpy", "openvino", "cv2"} <= imported


def test_every_dependency_has_an_upper_bound_or_is_pinned() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    block = text.partition("\ndependencies = [")[2].partition("\n]")[0]
    asked = re.findall(r'^  "([^;"]+)', block, re.M)
    assert len(asked) > 10
    assert [one for one in asked if "<" not in one and "==" not in one] == []

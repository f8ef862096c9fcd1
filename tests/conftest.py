"""Shared test helpers."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def demo_session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of one live session of the bundled demo film with the real models, in real time (about
    40 s). For reading: all tests of a run share it."""
    from posturewatch.cli.main import main

    folder = tmp_path_factory.mktemp("demo")
    settings = folder / "settings.toml"
    settings.write_text("", encoding="utf-8")
    data = folder / "data"
    options = ["--no-browser", "--port", "0", "--data-dir", str(data), "--settings", str(settings)]
    assert main(["live", "--source", "demo", "--for", "120", *options]) == 0
    return data

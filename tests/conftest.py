"""Shared test helpers."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import time_machine
from calendar_moments import moments


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--calendar",
        action="store_true",
        help="run the tests marked calendar at each moment of tests/calendar_moments.py, and no others",
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if metafunc.config.getoption("--calendar") and metafunc.definition.get_closest_marker("calendar"):
        # First, so that what the other fixtures make is made at that moment too.
        metafunc.fixturenames.insert(0, "calendar_moment")
        metafunc.parametrize("calendar_moment", list(moments()), indirect=True)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--calendar"):
        config.hook.pytest_deselected(
            items=[item for item in items if not item.get_closest_marker("calendar")]
        )
        items[:] = [item for item in items if item.get_closest_marker("calendar")]


@pytest.fixture
def calendar_moment(request: pytest.FixtureRequest) -> Iterator[None]:
    """The clock and the zone of one such moment; from there on the clock runs."""
    with time_machine.travel(moments()[request.param], tick=True):
        yield


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

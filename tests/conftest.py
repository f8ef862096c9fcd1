"""Shared test helpers."""

from __future__ import annotations

import os
import shutil
import signal
import tempfile
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest
import time_machine
from attacks import ATTACKS
from calendar_moments import moments
from log_page_stage import kept_log, open_log  # noqa: F401  fixtures
from page_stage import browser, open_page, stage  # noqa: F401  fixtures
from server_stage import running_server, served  # noqa: F401  fixtures
from side_by_side import long_files_first, pytest_xdist_auto_num_workers  # noqa: F401  the latter a hook
from storage_stage import quick_commits  # noqa: F401  a fixture

# The same examples on every run; HYPOTHESIS_PROFILE=search looks for new ones.
hypothesis.settings.register_profile("repeatable", derandomize=True)
hypothesis.settings.register_profile("search")
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))

#: Tests that may be skipped under --no-skips, each with the reason why nothing can be done about it.
MAY_SKIP: dict[str, str] = {}

#: The user without rights that every POSIX system has, "nobody" (Linux Standard Base 5.0, 25.3).
_NOBODY = 65534


# As in a terminal: what a script starts in the background ignores Ctrl-C, and so does whatever that starts.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--calendar",
        action="store_true",
        help="run the tests marked calendar at each moment of tests/calendar_moments.py, and no others",
    )
    parser.addoption(
        "--no-skips",
        action="store_true",
        help="a test that is skipped fails the run, but for those named in MAY_SKIP of tests/conftest.py",
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    mark = metafunc.definition.get_closest_marker("calendar")
    if metafunc.config.getoption("--calendar") and mark is not None:
        # First, so that what the other fixtures make is made at that moment too.
        metafunc.fixturenames.insert(0, "calendar_moment")
        names = list(moments())
        if mark.kwargs.get("slow"):
            # Where a test takes seconds: each of the five moments once, by turns in the three zones.
            names = [names[6 * place % len(names)] for place in range(5)]
        metafunc.parametrize("calendar_moment", names, indirect=True)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.stem in ATTACKS:
            item.add_marker("attack")
    if config.getoption("--calendar"):
        config.hook.pytest_deselected(
            items=[item for item in items if not item.get_closest_marker("calendar")]
        )
        items[:] = [item for item in items if item.get_closest_marker("calendar")]
    if hasattr(config, "workerinput"):
        long_files_first(items)


@pytest.fixture
def calendar_moment(request: pytest.FixtureRequest) -> Iterator[None]:
    """The clock and the zone of one such moment; from there on the clock runs."""
    with time_machine.travel(moments()[request.param], tick=True):
        yield


def pytest_sessionfinish(session: pytest.Session) -> None:
    if session.config.getoption("--no-skips") and _forbidden_skips(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    if config.getoption("--no-skips"):
        for name in _forbidden_skips(config):
            terminalreporter.line(f"SKIPPED, which --no-skips forbids: {name}", red=True)


def _forbidden_skips(config: pytest.Config) -> list[str]:
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    skipped = [] if reporter is None else reporter.stats.get("skipped", [])
    return sorted({report.nodeid for report in skipped} - set(MAY_SKIP))


@pytest.fixture
def own_folder(tmp_path: Path) -> Iterator[Path]:
    """A folder of an ordinary user, and the test runs with that user's rights.

    The system administrator may write everywhere; run by that user, a test hands its rights to `nobody`.
    """
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        yield tmp_path
        return
    folder = Path(tempfile.mkdtemp())
    group = os.getegid()
    os.chown(folder, _NOBODY, _NOBODY)
    os.setegid(_NOBODY)
    os.seteuid(_NOBODY)
    try:
        yield folder
    finally:
        os.seteuid(0)
        os.setegid(group)
        shutil.rmtree(folder)

"""Tests run side by side in several processes, a file always in one of them: how many, and which files first."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

#: Each holds its own models and browser, about 1 GB.
MOST_PROCESSES = 6

#: The marks of files that take long, those first that take longest.
LONG = ("models", "browser")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """One more than there are cores, since many tests wait: for a browser, or for a film in its own time.

    No more than files that are named, and none where nothing could go on beside them: on one core, for one file, or
    where output goes straight to the terminal.
    """
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    asked = {config.invocation_params.dir / argument.partition("::")[0] for argument in config.args}
    files = len(asked) if all(one.is_file() for one in asked) else MOST_PROCESSES
    if cores == 1 or files == 1 or config.getoption("capture") == "no":
        return 0
    return min(cores + 1, files, MOST_PROCESSES)


def long_files_first(items: list[pytest.Item]) -> None:
    """So that no process is left with a long file when the others are done; the order within each file stays."""
    ranks: dict[Path, int] = {}
    for item in items:
        marked = [LONG.index(name) for name in LONG if item.get_closest_marker(name)]
        ranks[item.path] = min([*marked, ranks.get(item.path, len(LONG))])
    items.sort(key=lambda item: ranks[item.path])

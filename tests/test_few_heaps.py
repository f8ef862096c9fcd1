"""Threads of the program share two heaps, as GNU's C library itself reports them."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

_THREADS = """
import ctypes, os, sys, threading
from posturewatch.__main__ import few_heaps
os.environ.pop("MALLOC_ARENA_MAX", None)
if sys.argv[2] == "few":
    few_heaps()
together, kept = threading.Barrier(8), []
def work():
    kept.append([bytearray(50_000) for _ in range(20)])
    together.wait()  # as long as it runs, its heap is taken
    kept.append([bytearray(50_000) for _ in range(20)])
threads = [threading.Thread(target=work) for _ in range(8)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
libc = ctypes.CDLL(None)
libc.fopen.restype = ctypes.c_void_p
file = ctypes.c_void_p(libc.fopen(sys.argv[1].encode(), b"w"))
libc.malloc_info(0, file)
libc.fclose(file)
print(os.environ.get("MALLOC_ARENA_MAX"))
"""


@pytest.mark.skipif(
    not sys.platform.startswith("linux") or not hasattr(ctypes.CDLL(None), "malloc_info"),
    reason="the C library is not GNU's",
)
@pytest.mark.parametrize(("how", "told"), [("few", "2"), ("as it is", "None")])
def test_threads_share_two_heaps(tmp_path: Path, how: str, told: str) -> None:
    """`malloc_info` (glibc) lists every heap."""
    told_of = tmp_path / "heaps.xml"
    plain = {name: value for name, value in os.environ.items() if name != "MALLOC_ARENA_MAX"}
    ran = subprocess.run(
        [sys.executable, "-c", _THREADS, str(told_of), how],
        capture_output=True,
        text=True,
        check=True,
        env=plain,
    )
    heaps = ET.parse(told_of).getroot().findall("heap")
    assert (len(heaps) <= 2) == (how == "few")
    assert ran.stdout.strip() == told, "what processes begun later are told"

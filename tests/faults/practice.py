"""`posturewatch live` with a camera that can be unplugged and hands that move by script, as a program of its own:
practice.py CONTROL RATE_HZ ARGUMENT...

While there is a file `unplugged` in the folder CONTROL, the camera is gone. Where there is a file `mark`, this moment
is marked and the file deleted. Whatever becomes of this program, these files are there, in numbers of 8 bytes:
CONTROL/handed, the time of each frame that is handed over to be kept, in whole milliseconds; CONTROL/written, of each
time that something was written to the disk, the last such time that was among it; CONTROL/ticks, the machine's clock in
milliseconds twenty times a second, as far as the machine lets this program run.
"""

from __future__ import annotations

import os
import signal
import struct
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from cli_stand_ins import ScriptedHands

from posturewatch.__main__ import leave, main
from posturewatch.capture.camera import CameraSource
from posturewatch.errors import SourceError
from posturewatch.model.arrays import Image
from posturewatch.model.reading import Reading
from posturewatch.pipeline.practice import Practice
from posturewatch.storage.recorder import Recorder

CONTROL, RATE_HZ = Path(sys.argv[1]), float(sys.argv[2])


class Camera:
    width_px, height_px, rate_hz = 64, 48, RATE_HZ

    def __init__(self, which: int | str, size_px: tuple[int, int], rate_hz: float) -> None:
        if _unplugged():
            raise SourceError("There is no camera 0: none is connected.")
        self._next_s = time.monotonic()

    def read(self) -> Image | None:
        self._next_s = max(self._next_s + 1 / RATE_HZ, time.monotonic() - 1.0)
        time.sleep(max(0.0, self._next_s - time.monotonic()))
        return None if _unplugged() else np.full((48, 64, 3), int(time.monotonic() * 50) % 256, np.uint8)

    def position_ms(self) -> float:
        return 0.0

    def release(self) -> None:
        pass


def _unplugged() -> bool:
    return (CONTROL / "unplugged").exists()


def _open(name: str) -> int:
    return os.open(CONTROL / name, os.O_WRONLY | os.O_CREAT | os.O_APPEND)


def _tick() -> None:
    ticks = _open("ticks")
    while True:
        os.write(ticks, struct.pack("<q", round(1000 * time.monotonic())))
        time.sleep(0.05)


def _prepare(patch: pytest.MonkeyPatch) -> None:
    handed, written = _open("handed"), _open("written")
    put, save, start = Recorder.put, Recorder._save, Practice.start
    practices: list[Practice] = []

    def put_and_tell(recorder: Recorder, reading: Reading) -> None:
        put(recorder, reading)
        os.write(handed, struct.pack("<q", round(1000 * reading.measurement.time_s)))

    def save_and_tell(recorder: Recorder, end: tuple[float, str] | None) -> bool:
        waiting = [one.time_ms[-1] for batch in recorder._unsaved for one in batch.series.values()]
        saved = save(recorder, end)
        if saved and waiting:
            os.write(written, struct.pack("<q", max(waiting)))
        return saved

    def start_and_know(practice: Practice) -> object:
        practices.append(practice)
        return start(practice)

    def at_frame(index: int) -> None:
        if (CONTROL / "mark").exists():
            (CONTROL / "mark").unlink()
            practices[-1].mark("by the test")

    assert CameraSource.__init__.__kwdefaults__ is not None
    patch.setitem(CameraSource.__init__.__kwdefaults__, "opener", Camera)
    patch.setattr(Recorder, "put", put_and_tell)
    patch.setattr(Recorder, "_save", save_and_tell)
    patch.setattr(Practice, "start", start_and_know)
    # Bent far for two seconds of every six: there are excursions to be kept too.
    ScriptedHands(lambda time_s: 60.0 if time_s % 6.0 > 4.0 else 10.0, at_frame).use(patch)


if __name__ == "__main__":
    # As in a terminal, also where this was started in the background.
    for number in (signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGHUP", signal.SIGTERM)):
        signal.signal(number, signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL)
    threading.Thread(target=_tick, name="ticks", daemon=True).start()
    with pytest.MonkeyPatch.context() as monkeypatch:
        _prepare(monkeypatch)
        leave(main(sys.argv[3:]))

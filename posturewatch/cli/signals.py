"""Being asked to end: Ctrl-C, a polite request (SIGTERM), the terminal's closing (SIGHUP), once or several times."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["EndRequest", "end_requests", "ends_with_the_command"]

#: Not empty where the process ends with the command.
_lasting: list[bool] = []


def ends_with_the_command() -> None:
    """To be called where the process runs one command and ends: requests after the first then change nothing more to
    the very end, when all is kept and only the interpreter is still closing."""
    _lasting.append(True)


class EndRequest:
    """Whether somebody asked the program to end. A plain value: what is waited for with locks could be held by the
    very thread that the signal interrupts."""

    def __init__(self) -> None:
        self.made = False

    def __call__(self) -> bool:
        return self.made


@contextmanager
def end_requests(do: Callable[[], None] = lambda: None) -> Iterator[EndRequest]:
    """Notes every request to end meanwhile, and interrupts nothing: what is being closed is closed, however often
    one asks. A signal that is ignored (nohup, a command in the background) stays so.

    Parameters
    ----------
    do
        Called with each request, between any two instructions of the main thread.
    """
    request = EndRequest()

    def note(number: int, frame: object) -> None:
        request.made = True
        do()

    if threading.current_thread() is not threading.main_thread():
        yield request  # only the main thread may say what a signal does
        return
    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    noted = [number for number, handler in before.items() if handler not in (signal.SIG_IGN, None)]
    for number in noted:
        signal.signal(number, note)
    try:
        yield request
    finally:
        for number in noted:
            # Ignored, not noted: an interpreter that closes gives every signal its usual effect again but these.
            signal.signal(number, signal.SIG_IGN if request.made and _lasting else before[number])

"""The program's door: looks at the Python it runs on before anything heavy is imported."""

import atexit
import contextlib
import os
import sys

__all__ = ["leave", "main", "run"]

OLDEST = (3, 10)
NEWEST = (3, 12)

#: Of GNU's malloc.h.
_M_ARENA_MAX = -8


def wrong_python(version: "tuple[int, ...]") -> "str | None":
    """The sentence for a Python that cannot run the program, or None; `version` as (major, minor).

    Plain on purpose, in this whole file: an older Python must be able to read it.
    """
    if OLDEST <= tuple(version) <= NEWEST:
        return None
    return (
        "posturewatch needs Python 3.10, 3.11 or 3.12 and this is {}.{}: the last version of the hand tracking "
        "library that brings its models along (mediapipe 0.10.21) is made for those. "
        "Make an environment with one of them, by `uv venv --python 3.12` or `python3.12 -m venv .venv`, "
        "and install posturewatch in it.".format(*version)
    )


def few_heaps() -> None:
    """Where the C library is GNU's, threads share two heaps instead of having eight for each core: what is freed in one
    is of no use to the others."""
    os.environ.setdefault("MALLOC_ARENA_MAX", "2")  # read at the start of processes that this one begins
    if not sys.platform.startswith("linux"):
        return
    import ctypes

    set_option = getattr(ctypes.CDLL(None), "mallopt", None)
    if set_option is not None:
        set_option(_M_ARENA_MAX, int(os.environ["MALLOC_ARENA_MAX"]))


def main(argv: "list[str] | None" = None) -> int:
    """Runs the command line; gives back the exit code."""
    sentence = wrong_python(sys.version_info[:2])
    if sentence is not None:
        sys.stderr.write(sentence + "\n")
        return 5
    # One core a sum: the sums are small, and waiting for a second core takes longer than they do. Read when numpy is.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    few_heaps()
    from posturewatch.cli.main import main as run
    from posturewatch.cli.signals import ends_with_the_command

    ends_with_the_command()
    return run(argv)


def leave(code: int) -> None:
    """Ends the process at once with this exit code, when a command is done and has closed all that it opened.

    The interpreter would first take down, piece by piece, whatever was loaded: for the models' engine that is seconds
    of processor time, and on a busy machine a minute in which nothing is left to be done.
    """
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        # Where whoever read it has gone, or nobody was ever there, nothing more can be said.
        with contextlib.suppress(AttributeError, OSError, ValueError):
            stream.flush()
    os._exit(code)


def run() -> None:
    """Runs the command line as a program of its own; does not come back."""
    leave(main())


if __name__ == "__main__":
    run()

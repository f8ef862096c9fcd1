"""Small helpers for moderngl programs."""

from __future__ import annotations

from typing import Any

import numpy as np


def buffer_format(program: Any, names: list[str], sizes: tuple[int, ...]) -> tuple[str, ...]:
    """Buffer format that skips attributes the program does not use."""
    parts, used = [], []
    for name, size in zip(names, sizes, strict=True):
        if name in program:
            parts.append(f"{size}f")
            used.append(name)
        else:
            parts.append(f"{size * 4}x")
    return (" ".join(parts), *used)


def put_block(program: Any, name: str, data: bytes) -> None:
    """Set an array of uniforms."""
    program[name].write(data)


def put(program: Any, name: str, value: Any) -> None:
    """Set a uniform, where the program has it: a number, a vector or a square matrix."""
    if name not in program:
        return
    array = np.asarray(value)
    if array.ndim == 2:
        program[name].write(np.ascontiguousarray(array.T, np.float32).tobytes())
    elif array.ndim == 0:
        program[name].value = array.item()
    else:
        program[name].value = tuple(float(v) for v in array)

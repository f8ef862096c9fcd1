"""How a stretch of samples becomes a few bytes, and how it is read back.

What is kept, and how exactly:
- the time in whole milliseconds,
- the value in whole steps of its quantity (`posturewatch.model.quantities`: 0.01 degree for the wrist),
- the standard deviation in whole steps of its quantity, never below one of them,
- the refusal as a small number (0: measured); a refused sample has no value and takes no room for one.

Numbers change little from one frame to the next, so differences are kept, and the bytes of equal weight lie
together, which is what the compressor needs: an hour of both wrists comes to about a megabyte.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["HEAD_BYTES", "TIME_STEP_S", "ChunkError", "Samples", "decode", "encode", "join", "sample_count"]

TIME_STEP_S = 0.001

_FORMAT = 1

#: Of zlib: the levels above pack half a percent better in several times the time.
_EFFORT = 7

#: Format, count of samples, count of measured ones.
_HEADER = struct.Struct("<BII")


#: So many bytes at the beginning tell how many samples there are.
HEAD_BYTES = _HEADER.size


class ChunkError(ValueError):
    """The bytes are no stretch of samples: the file is damaged."""


@dataclass(frozen=True)
class Samples:
    """Samples of one series in whole steps, all of the same length (n,).

    Attributes
    ----------
    time_ms
        int64.
    value, sd
        int64, 0 where refused.
    refusal
        uint8, 0 where measured.
    """

    time_ms: NDArray[np.int64]
    value: NDArray[np.int64]
    sd: NDArray[np.int64]
    refusal: NDArray[np.uint8]

    def __post_init__(self) -> None:
        lengths = {len(self.time_ms), len(self.value), len(self.sd), len(self.refusal)}
        if len(lengths) != 1:
            raise ValueError(f"samples need arrays of one length, got {sorted(lengths)}")

    def __len__(self) -> int:
        return len(self.time_ms)

    @classmethod
    def empty(cls) -> Samples:
        """No samples."""
        none = np.zeros(0, np.int64)
        return cls(none, none, none, np.zeros(0, np.uint8))


def join(parts: list[Samples]) -> Samples:
    """The parts one after another."""
    if not parts:
        return Samples.empty()
    return Samples(
        np.concatenate([part.time_ms for part in parts]),
        np.concatenate([part.value for part in parts]),
        np.concatenate([part.sd for part in parts]),
        np.concatenate([part.refusal for part in parts]),
    )


def encode(samples: Samples) -> bytes:
    """Bytes for the store; `decode` gives back exactly the same arrays."""
    measured = samples.refusal == 0
    body = b"".join(
        (
            _pack(samples.time_ms),
            samples.refusal.tobytes(),
            _pack(samples.value[measured]),
            _pack(samples.sd[measured]),
        )
    )
    return _HEADER.pack(_FORMAT, len(samples), int(measured.sum())) + zlib.compress(body, _EFFORT)


def decode(data: bytes) -> Samples:
    """The samples in `data`.

    Raises
    ------
    ChunkError
        Where the bytes are not what `encode` wrote.
    """
    try:
        version, count, measured_count = _HEADER.unpack_from(data)
        body = zlib.decompress(data[_HEADER.size :])
    except (struct.error, zlib.error) as error:
        raise ChunkError(str(error)) from error
    if version != _FORMAT or len(body) != 9 * count + 16 * measured_count:
        raise ChunkError(f"format {version} with {count} samples in {len(body)} bytes")
    time_ms = _unpack(body, 0, count)
    refusal = np.frombuffer(body, np.uint8, count, 8 * count).copy()
    measured = refusal == 0
    if int(measured.sum()) != measured_count:
        raise ChunkError("the count of measured samples does not fit")
    value = np.zeros(count, np.int64)
    sd = np.zeros(count, np.int64)
    value[measured] = _unpack(body, 9 * count, measured_count)
    sd[measured] = _unpack(body, 9 * count + 8 * measured_count, measured_count)
    return Samples(time_ms, value, sd, refusal)


def sample_count(head: bytes) -> int:
    """How many samples are in what begins with these bytes (HEAD_BYTES at least); 0 where that is no such beginning."""
    return int(_HEADER.unpack_from(head)[1]) if len(head) >= HEAD_BYTES else 0


def _pack(numbers: NDArray[np.int64]) -> bytes:
    """Differences with the sign folded in (0, -1, 1, -2 become 0 to 3), bytes of equal weight together."""
    steps = np.diff(numbers, prepend=np.int64(0))
    folded = ((steps << 1) ^ (steps >> 63)).astype("<i8")
    return folded.view(np.uint8).reshape(-1, 8).T.tobytes()


def _unpack(body: bytes, start: int, count: int) -> NDArray[np.int64]:
    planes = np.frombuffer(body, np.uint8, 8 * count, start).reshape(8, count)
    folded = np.ascontiguousarray(planes.T).view("<u8").reshape(count)
    steps = (folded >> np.uint64(1)).astype(np.int64) ^ -(folded & np.uint64(1)).astype(np.int64)
    return np.cumsum(steps, dtype=np.int64)

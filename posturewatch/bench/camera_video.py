"""The video that the benchmark plays: the demo video enlarged to what a webcam gives, 1280 x 720 at 30 a second."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av

__all__ = ["SIZE_PX", "enlarged"]

SIZE_PX = (1280, 720)
_RATE_HZ = 30


def enlarged(video: Path, target: Path) -> Path:
    """Writes `video`, at SIZE_PX and without sound, to `target`, and returns that."""
    with av.open(str(video)) as source, av.open(str(target), "w") as out:
        stream = out.add_stream(
            "libx264", rate=Fraction(_RATE_HZ), options={"preset": "ultrafast", "crf": "18"}
        )
        stream.width, stream.height = SIZE_PX
        stream.pix_fmt = "yuv420p"
        for index, frame in enumerate(source.decode(video=0)):
            scaled = frame.reformat(*SIZE_PX, format="yuv420p")
            scaled.pts, scaled.time_base = index, Fraction(1, _RATE_HZ)
            out.mux(stream.encode(scaled))
        out.mux(stream.encode())
    return target

"""Analyses the first two seconds of the demo film with the installed package, which must not lie in a checkout."""

import csv
import json
import subprocess
import sys
from pathlib import Path

import av

import posturewatch
from posturewatch.config.resources import calibration_dir

SECONDS = 2.0

package = Path(posturewatch.__file__).parent
assert "site-packages" in package.parts, f"{package} is no installed package"

with av.open(str(calibration_dir() / "demo" / "demo.mp4")) as film, av.open("two.mp4", "w") as two:
    video = film.streams.video[0]
    copy = two.add_stream_from_template(video)
    for packet in film.demux(video):
        if packet.dts is not None and packet.dts * video.time_base < SECONDS:
            packet.stream = copy
            two.mux(packet)

command = [str(Path(sys.executable).with_name("posturewatch")), "analyse", "two.mp4", "--out", "out"]
subprocess.run(command, check=True)
with Path("out/samples.csv").open(newline="", encoding="utf-8") as file:
    measured = sum(row["status"] == "measured" for row in csv.DictReader(file))
json.loads(Path("out/summary.json").read_text(encoding="utf-8"))
# Two hands, thirty frames a second; the player is in full view.
assert measured >= 0.9 * 2 * 30 * SECONDS, f"only {measured} hands were measured"
print(f"The wheel measured {measured} hands in {SECONDS:g} seconds of film.")

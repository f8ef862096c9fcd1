"""A clip in a real browser: it plays, and each place that is sought shows the picture of that time."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from clip_factories import BITS, SIZE, make_video, uneven_times

from posturewatch.clips.video_file import write_video

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium that plays H.264 is installed"),
]

PAGE = b"""<!doctype html><title>clip</title><video id="clip" src="/clip.mp4" muted preload="auto"></video>"""

#: How long the sought picture may take to be shown. Chromium tells "seeked" as soon as the picture is
#: decoded and shows it with its next composition, which on a busy machine comes later.
SHOWN_WITHIN_MS = 5000

#: Seeks, and reads the number written in the picture shown until it is the expected one or the wait is over.
LOOK = """
async ([time, bits, expected, patience]) => {
  const video = document.getElementById("clip");
  await new Promise((done, failed) => {
    video.onseeked = done;
    video.onerror = () => failed(new Error("media error " + video.error.code + " " + video.error.message));
    video.currentTime = time;
  });
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [video.videoWidth, video.videoHeight];
  const pen = canvas.getContext("2d", {willReadFrequently: true});
  const y = canvas.height - Math.floor(canvas.height / 8);
  const shown = () => {
    pen.drawImage(video, 0, 0);
    let index = 0;
    for (let bit = 0; bit < bits; bit++) {
      const x = Math.floor((bit + 0.5) * canvas.width / bits);
      if (pen.getImageData(x, y, 1, 1).data[1] > 127) index |= 1 << bit;
    }
    return index;
  };
  const end = performance.now() + patience;
  let index = shown();
  while (index !== expected && performance.now() < end) {
    await new Promise((done) => setTimeout(done, 20));
    index = shown();
  }
  return index;
}
"""

PLAY = """
async () => {
  const video = document.getElementById("clip");
  video.currentTime = 0;
  video.playbackRate = 2;
  const ended = new Promise((done) => { video.onended = done; });
  await video.play();
  await ended;
  return video.currentTime;
}
"""


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """A server of one page and one clip that answers range requests, as a player's seeking makes them."""
    write_video(tmp_path / "clip.mp4", make_video(TIMES_S))
    data = (tmp_path / "clip.mp4").read_bytes()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            if self.path != "/clip.mp4":
                return self.answer(200, "text/html", PAGE)
            wanted = self.headers.get("Range", "bytes=0-").removeprefix("bytes=").split("-")
            first, last = int(wanted[0]), int(wanted[1]) if wanted[1] else len(data) - 1
            told = {"Content-Range": f"bytes {first}-{last}/{len(data)}", "Accept-Ranges": "bytes"}
            return self.answer(206, "video/mp4", data[first : last + 1], told)

        def answer(self, code: int, kind: str, body: bytes, told: dict[str, str] | None = None) -> None:
            self.send_response(code)
            for name, value in {
                "Content-Type": kind,
                "Content-Length": str(len(body)),
                **(told or {}),
            }.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    thread.join()
    server.server_close()


TIMES_S = uneven_times(120)


def test_chromium_plays_and_seeks(address: str) -> None:
    with playwright.sync_playwright() as library:
        browser = library.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            page = browser.new_page()
            page.goto(address)
            page.wait_for_function("document.getElementById('clip').readyState >= 3")
            told = page.evaluate(
                "(({duration, videoWidth, videoHeight}) => [duration, videoWidth, videoHeight])(clip)"
            )
            assert told[0] == pytest.approx(2 * TIMES_S[-1] - TIMES_S[-2], abs=0.002)
            assert tuple(told[1:]) == SIZE
            for index in (0, 70, 25, 71, 118, 3):
                middle_s = (TIMES_S[index] + TIMES_S[index + 1]) / 2
                assert page.evaluate(LOOK, [middle_s, BITS, index, SHOWN_WITHIN_MS]) == index
            assert page.evaluate(PLAY) == pytest.approx(told[0], abs=0.05)
        finally:
            browser.close()

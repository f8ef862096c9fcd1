"""The whole of what comes before a practice, on a made film with scripted hands, and its page."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest

from posturewatch.capture import CameraFound
from posturewatch.cli.live import current_words
from posturewatch.clips import MicrophoneFound
from posturewatch.config.resources import web_dir
from posturewatch.pipeline.before_start.set_up import SetUp
from posturewatch.pipeline.live_practice import LivePractice
from posturewatch.pipeline.live_settings import LiveSettings
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.feed import LiveFeed
from posturewatch.server.serving import PageServer, listen

MICROPHONES = (MicrophoneFound("Desk microphone", True), MicrophoneFound("Clip microphone", False))
CAMERAS = (CameraFound(0, "Front camera", (1280, 720), 30.0), CameraFound(2, None, None))


class SetUpStage:
    """The parts as `posturewatch live --set-up` puts them together; `ask` is the page's way to the routes."""

    def __init__(self, source: str, settings_file: Path, data: Path, stack: ExitStack) -> None:
        self.file = settings_file
        self.settings = LiveSettings(None, None)
        parts = self.settings.parts
        store = stack.enter_context(open_store(data))
        self.feed = LiveFeed(parts.limits, roles=parts.settings.roles)
        stack.callback(self.feed.close)
        self.live = LivePractice(source, None, self.settings, store, self.feed)
        stack.callback(self.live.preview.close)
        stack.callback(self.live.practice.stop)
        self.set_up = SetUp(self.live, self.settings, lambda: CAMERAS, lambda: MICROPHONES)
        listener = listen(0)
        port = int(listener.getsockname()[1])
        self.admission = Admission(port)
        app = create_app(
            practice=self.live.practice,
            feed=self.feed,
            log=PracticeLog(store),
            vocabulary=current_words(self.settings, self.feed),
            web_dir=web_dir(),
            port=port,
            admission=self.admission,
            set_up=self.set_up,
        )
        server = PageServer(app, listener)
        stack.callback(server.close)
        server.start()
        self.url = server.url
        name, value = self.admission.cookie
        self._client = stack.enter_context(
            httpx.Client(base_url=self.url, cookies={name: value}, trust_env=False, timeout=30)
        )

    def ask(self, method: str, path: str, body: Any = None) -> tuple[int, Any]:
        """Status and JSON of the answer."""
        answer = self._client.request(method, f"api/{path}", json=body)
        return answer.status_code, answer.json()


@pytest.fixture
def set_up_stage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Makes the stage of a source; the user's own settings file is one of this test."""
    own = tmp_path / "own" / "settings.toml"
    monkeypatch.setattr("posturewatch.config.settings.default_settings_path", lambda: own)
    with ExitStack() as stack:
        yield lambda source: SetUpStage(str(source), own, tmp_path / "data", stack)

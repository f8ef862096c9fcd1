"""`posturewatch live`: the page, the camera and the session, until Ctrl-C or the time is up."""

from __future__ import annotations

import argparse
import webbrowser
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any

from posturewatch.cli.analyse import EXIT_INCOMPLETE
from posturewatch.cli.options import Subparsers, add_command, add_data_dir, add_settings, seconds
from posturewatch.cli.signals import EndRequest, end_requests
from posturewatch.errors import SourceError
from posturewatch.model.address import is_address

if TYPE_CHECKING:
    from posturewatch.pipeline.build import Parts
    from posturewatch.pipeline.live_practice import LivePractice
    from posturewatch.pipeline.live_settings import LiveSettings
    from posturewatch.server.feed import LiveFeed
    from posturewatch.server.serving import PageServer
    from posturewatch.storage.store import Store

__all__ = ["DEFAULT_PORT", "add", "add_page", "run"]

#: Unassigned at IANA and rarely used; the same each time, so that a bookmark works.
DEFAULT_PORT = 8717


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "live",
        "watch a practice live, on a local page",
        "Opens a page on this machine that shows you mirrored with the wrist angles, and warns calmly of an "
        "extreme angle that is held. With a camera it first shows what that sees and waits for Start. The "
        "session is kept; Ctrl-C or the page's stop ends it.",
        """
posturewatch live --source demo
posturewatch live --source 0
posturewatch live --source 0 --start
posturewatch live --source 0 --for 1200 --profile rula
posturewatch live --source lesson.mp4 --no-browser --port 0
posturewatch live --source http://192.168.1.20:8080/video
""",
    )
    parser.add_argument(
        "--source",
        metavar="demo|0|PATH|URL",
        help="demo video, number of a camera, video file, device or stream address (default: the settings', else 0)",
    )
    parser.add_argument(
        "--for",
        dest="limit_s",
        type=seconds,
        metavar="SECONDS",
        help="end the session after this long, and leave",
    )
    begin = parser.add_mutually_exclusive_group()
    begin.add_argument(
        "--start",
        action="store_true",
        help="begin the session at once, as with a video, with --for and with --no-browser",
    )
    begin.add_argument(
        "--set-up",
        action="store_true",
        help="first show what the camera sees, with a video too, and wait for Start",
    )
    add_page(parser)
    parser.set_defaults(run=run, begins=True)


def add_page(parser: argparse.ArgumentParser) -> None:
    """What every command that opens the page takes."""
    parser.add_argument("--no-browser", action="store_true", help="do not open the page in the browser")
    parser.add_argument(
        "--port",
        type=int,
        default=DEFAULT_PORT,
        metavar="N",
        help=f"port of the page (default: {DEFAULT_PORT}; 0: any free one)",
    )
    add_data_dir(parser)
    add_settings(parser)


def run(args: argparse.Namespace) -> int:
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

    settings = LiveSettings(args.settings, args.profile)
    parts = settings.parts
    with end_requests() as asked, ExitStack() as cleanup:
        listener = listen(args.port)
        cleanup.callback(listener.close)
        store = cleanup.enter_context(open_store(args.data_dir))
        if store.notice is not None:
            print(store.notice, flush=True)
        feed = LiveFeed(parts.limits, roles=parts.settings.roles)
        cleanup.callback(feed.close)
        live = LivePractice(args.source, args.limit_s, settings, store, feed)
        cleanup.callback(live.preview.close)
        cleanup.callback(live.practice.stop)
        words = current_words(settings, feed)
        port = int(listener.getsockname()[1])
        admission = Admission(port)
        app = create_app(
            practice=live.practice,
            feed=feed,
            log=PracticeLog(store),
            vocabulary=words,
            web_dir=web_dir(),
            port=port,
            admission=admission,
            set_up=SetUp(live, settings),
            **_of_what_is_kept(store, settings, cleanup),
        )
        server = PageServer(app, listener)
        cleanup.callback(server.close)
        server.start()
        url = f"{server.url}{_first_page(live, parts, asked, args)}"
        if not asked():
            print(f"The page is at {admission.address(url)}  (Ctrl-C ends the session)", flush=True)
            if not args.no_browser:
                webbrowser.open(admission.address_once(url))
        faults = _watch(live, server, asked)
        live.practice.stop()
        return _last_words(live, store, faults)


def _of_what_is_kept(store: Store, settings: LiveSettings, cleanup: ExitStack) -> dict[str, Any]:
    """Who makes reports for the page, and who takes films in."""
    from posturewatch.pipeline.films.desk import FilmDesk
    from posturewatch.pipeline.films.workers import Processes, usual_jobs
    from posturewatch.pipeline.moment_lines import MomentLines
    from posturewatch.review.exchange.notes import Notes
    from posturewatch.review.report.writing import Reports

    lines = MomentLines(settings.parts)
    cleanup.callback(lines.close)
    films = FilmDesk(store, lambda: settings.parts, lambda: Processes(usual_jobs()))
    cleanup.callback(films.close)
    reports = Reports(store, lines, lambda: settings.parts.settings.page.language)
    return {"reports": reports, "films": films, "notes": Notes(store)}


def current_words(settings: LiveSettings, feed: LiveFeed) -> dict[str, Any]:
    """The page's words, which follow every change of the settings, as does the feed."""
    from posturewatch.review.vocabulary import vocabulary

    def of(parts: Parts) -> dict[str, Any]:
        return vocabulary(parts.limits, parts.settings.roles, parts.settings.page.language)

    words = of(settings.parts)

    def follow(parts: Parts) -> None:
        feed.judge_by(parts.limits, parts.settings.roles)
        words.update(of(parts))

    settings.follow(follow)
    return words


def _first_page(live: LivePractice, parts: Parts, asked: EndRequest, args: argparse.Namespace) -> str:
    """The page that is opened; where a session is to begin at once, it has begun."""
    if args.begins and _sets_up(live.spec, parts, args):
        return "setup.html"
    return "" if args.begins and _begun(live, asked, args) else "log.html"


def _sets_up(spec: str, parts: Parts, args: argparse.Namespace) -> bool:
    """Whether the page comes first. A video is where it is, and where nobody looks at the page nobody presses Start."""
    if args.set_up or args.start:
        return bool(args.set_up)
    camera = (
        spec.isdecimal() or spec.startswith("/dev/") or (is_address(spec) and not spec.startswith("file:"))
    )
    return parts.settings.page.before_start and camera and not args.no_browser and args.limit_s is None


def _begun(live: LivePractice, asked: EndRequest, args: argparse.Namespace) -> bool:
    """Whether the first session is on. Where there is no camera, the practice log opens all the same, and the page can
    start once there is one; where nobody looks at the page, that ends the command instead."""
    try:
        live.start(asked)
    except SourceError as missing:
        if args.no_browser or args.limit_s is not None:
            raise
        print(f"{missing.sentence} The practice log opens meanwhile.", flush=True)
        return False
    return True


def _watch(live: LivePractice, server: PageServer, asked: EndRequest) -> list[str]:
    """Waits for the end; what went wrong beside the practice, in sentences."""
    while not live.wait(asked):
        if not server.running:
            sentence = (
                "The page has stopped by a fault of the program; the practice goes on and is kept. "
                "Ctrl-C ends it; then start again."
            )
            print(sentence, flush=True)
            live.wait(asked, for_ever=True)
            return [sentence]
    return []


def _last_words(live: LivePractice, store: Store, faults: list[str]) -> int:
    """Prints the last session's summary and what went wrong in any of them; the exit code."""
    from posturewatch.cli.words import summary_text
    from posturewatch.review.summaries import session_summary

    identity = live.practice.session_id
    kept_badly = live.faults
    for sentence in kept_badly:
        print(sentence)
    if identity is not None:
        print(summary_text(session_summary(store, store.find_exactly(identity))))
    state = live.practice.state()
    cut_short = state["notice"] if state["ending"] == "film ended" else None
    if cut_short is not None:
        print(cut_short)
    if kept_badly or faults:
        return 1
    return 0 if cut_short is None else EXIT_INCOMPLETE

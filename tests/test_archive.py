"""Archives: what was put in comes out, and nothing else is believed. Hostile ones are made with Python's zipfile."""

from __future__ import annotations

import hashlib
import io
import json
import os
import stat
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from posturewatch.archive.faults import ArchiveError
from posturewatch.archive.kinds import JSON, MP4, Kind
from posturewatch.archive.names import why_not
from posturewatch.archive.reading import Archive
from posturewatch.archive.writing import ArchiveWriter

KIND = Kind(
    "lesson", 2, {"report.json": JSON, "clips/": MP4}, "a lesson", most_files=20, most_bytes=300_000_000
)
FILM = b"\0\0\0\x10ftypisom" + bytes(range(256)) * 40
REPORT = b'{"bend": 12}'

Entry = tuple[str, bytes]


class About(BaseModel):
    student: str


def written(folder: Path) -> Path:
    path, film = folder / "lesson.zip", folder / "film.mp4"
    film.write_bytes(FILM)
    with ArchiveWriter(path, KIND, about={"student": "Ada"}) as archive:
        archive.add_bytes("report.json", REPORT)
        archive.add_file("clips/a1/clip-1.mp4", film)
    return path


def manifest(entries: list[Entry], **changes: Any) -> dict[str, Any]:
    types = {"json": "application/json", "mp4": "video/mp4"}
    return {
        "format": "posturewatch archive",
        "format_version": 1,
        "kind": "lesson",
        "kind_version": 2,
        "program_version": "0.1.0",
        "made_at": "2025-03-03T18:00:00+00:00",
        "about": {"student": "Ada"},
        "files": [
            {
                "path": path,
                "type": types.get(path.rpartition(".")[2], "text/plain"),
                "bytes": len(content),
                "sha256": hashlib.sha256(content).hexdigest(),
            }
            for path, content in entries
        ],
        **changes,
    }


def made(path: Path, entries: list[Entry], said: object = None, *, more: tuple[Entry, ...] = ()) -> Path:
    """A ZIP file with these files, a manifest that names them (or this one) and files that it does not name."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (*entries, *more):
            archive.writestr(name, content)
        archive.writestr("manifest.json", json.dumps(manifest(entries) if said is None else said))
    return path


def opened(path: Path) -> None:
    with Archive(path, [KIND]) as archive:
        archive.about_as(About)
        archive.check()


def test_what_was_put_in_comes_out(tmp_path: Path) -> None:
    path = written(tmp_path)
    with Archive(path, [KIND]) as archive:
        assert archive.about_as(About).student == "Ada"
        assert set(archive.files) == {"report.json", "clips/a1/clip-1.mp4"}
        assert archive.total_bytes == len(FILM) + len(REPORT)
        archive.check()
        assert archive.read("report.json") == REPORT
        archive.extract("clips/a1/clip-1.mp4", tmp_path / "out.mp4")
    assert (tmp_path / "out.mp4").read_bytes() == FILM
    # Anyone can look into it with what the system has for ZIP files.
    with zipfile.ZipFile(path) as plain:
        assert plain.testzip() is None
        assert plain.read("clips/a1/clip-1.mp4") == FILM
    assert {one.name for one in tmp_path.iterdir()} == {"lesson.zip", "film.mp4", "out.mp4"}


def test_every_flipped_bit_is_seen_or_changes_nothing(tmp_path: Path) -> None:
    whole, path = written(tmp_path).read_bytes(), tmp_path / "flipped.zip"
    for place in range(0, len(whole), 23):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x08]) + whole[place + 1 :])
        try:
            with Archive(path, [KIND]) as archive:
                contents = [archive.read(name) for name in ("report.json", "clips/a1/clip-1.mp4")]
                assert archive.about_as(About).student == "Ada"
        except ArchiveError:
            continue
        assert contents == [REPORT, FILM]


@pytest.mark.parametrize("part", [0.0, 0.3, 0.9, 0.999])
def test_one_cut_short_is_refused(tmp_path: Path, part: float) -> None:
    whole, path = written(tmp_path).read_bytes(), tmp_path / "short.zip"
    path.write_bytes(whole[: int(len(whole) * part)])
    with pytest.raises(ArchiveError, match="missing"):
        opened(path)


def test_a_writer_leaves_all_or_nothing(tmp_path: Path) -> None:
    before = sorted(tmp_path.iterdir())
    for _ in range(2):
        archive = ArchiveWriter(tmp_path / "lesson.zip", KIND)
        archive.add_bytes("report.json", REPORT)
        archive.discard()
    with (
        pytest.raises(ValueError, match="has no place"),
        ArchiveWriter(tmp_path / "lesson.zip", KIND) as archive,
    ):
        archive.add_bytes("clips/../../x.mp4", FILM)
    with (
        pytest.raises(ValueError, match="no video/mp4"),
        ArchiveWriter(tmp_path / "lesson.zip", KIND) as archive,
    ):
        archive.add_bytes("clips/x.mp4", b"text")
    assert sorted(tmp_path.iterdir()) == before
    path = written(tmp_path)
    whole = path.read_bytes()
    with pytest.raises(ArchiveError, match="there already"):
        ArchiveWriter(path, KIND)
    with pytest.raises(ArchiveError, match="cannot be written"):
        ArchiveWriter(tmp_path / "none" / "lesson.zip", KIND)
    assert path.read_bytes() == whole


def test_what_came_to_lie_there_meanwhile_is_not_replaced(tmp_path: Path) -> None:
    path = tmp_path / "lesson.zip"
    archive = ArchiveWriter(path, KIND)
    path.write_bytes(b"mine")
    with pytest.raises(ArchiveError, match="there already"):
        archive.close()
    assert [one.read_bytes() for one in tmp_path.iterdir()] == [b"mine"]


@pytest.mark.parametrize(
    "name",
    [
        "../x.mp4", "/etc/x.mp4", "clips/../../x.mp4", "clips//x.mp4", "clips/./x.mp4", "clips\\..\\x.mp4", "C:/x.mp4",
        "clips/x.mp4:stream", "clips/con.mp4", "clips/NUL", "clips/x.mp4.", "clips/ x.mp4", "clips/x\n.mp4",
        "clips/a\u202egp4.mp4", "clips/e\u0301.mp4", "clips/" + "x" * 300 + ".mp4", "", "clips/",
    ],
)  # fmt: skip
def test_names_that_lead_elsewhere_are_refused(tmp_path: Path, name: str) -> None:
    assert why_not(name) is not None
    if name:
        with pytest.raises(ArchiveError):
            opened(made(tmp_path / "bad.zip", [(name, FILM)]))
    assert [one.name for one in tmp_path.iterdir()] in ([], ["bad.zip"])


def one_link(path: Path) -> None:
    info = zipfile.ZipInfo("clips/x.mp4")
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(info, "/etc/passwd")
        archive.writestr("manifest.json", json.dumps(manifest([("clips/x.mp4", b"/etc/passwd")])))


def two_of_one_name(path: Path) -> None:
    made(path, [("clips/x.mp4", FILM), ("clips/X.mp4", FILM)])


def zeros_without_end(path: Path) -> None:
    made(path, [("clips/x.mp4", FILM[:12] + bytes(60_000_000))])


def more_than_stated(path: Path) -> None:
    """The list of the ZIP file and the manifest say less than unpacks."""
    content = FILM + bytes(5000)
    made(path, [("clips/x.mp4", content)], manifest([("clips/x.mp4", FILM)]))
    raw = path.read_bytes()
    path.write_bytes(raw.replace(struct.pack("<L", len(content)), struct.pack("<L", len(FILM))))


def list_without_end(path: Path) -> None:
    made(path, [])
    raw = path.read_bytes()
    place = raw.rfind(b"PK\x05\x06")
    path.write_bytes(raw[: place + 12] + struct.pack("<L", 3_000_000_000) + raw[place + 16 :])


def encrypted(path: Path) -> None:
    made(path, [("report.json", REPORT)])
    raw = bytearray(path.read_bytes())
    for mark, shift in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        raw[raw.find(mark) + shift] |= 1
    path.write_bytes(raw)


def packed_otherwise(path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("manifest.json", json.dumps(manifest([])))


def other_program(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/epub+zip")


def deep(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("manifest.json", "[" * 200_000)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (one_link, "no file"),
        (two_of_one_name, "two files of one name"),
        (zeros_without_end, "swell"),
        (more_than_stated, "damaged|size"),
        (list_without_end, "too many files"),
        (encrypted, "encrypted"),
        (packed_otherwise, "not known here"),
        (other_program, "no archive of posturewatch"),
        (deep, "manifest.json"),
        (lambda path: path.write_bytes(b"\x89PNG\r\n"), "no archive of posturewatch"),
        (lambda path: path.write_bytes(b""), "no archive of posturewatch"),
        (Path.mkdir, "is no file"),
        (os.mkfifo, "no file"),
        (lambda path: None, "No such file"),
        (lambda path: made(path, [], more=(("clips/x.mp4", FILM),)), "does not name the very files"),
        (lambda path: made(path, [], manifest([("clips/x.mp4", FILM)])), "does not name the very files"),
        (lambda path: made(path, [("setup.exe", b"MZ")]), "has no place in a lesson"),
        (lambda path: made(path, [("clips/x.mp4", b"<script>")]), "not of the type"),
        (lambda path: made(path, [("report.json", b"")]), "not of the type"),
        (lambda path: made(path, [(f"clips/{n}.mp4", FILM) for n in range(21)]), "larger than a lesson"),
        (lambda path: made(path, [], manifest([], kind="backup")), "not a lesson"),
        (lambda path: made(path, [], manifest([], kind_version=3)), "newer posturewatch"),
        (lambda path: made(path, [], manifest([], format_version=2)), "newer posturewatch"),
        (lambda path: made(path, [], manifest([], kind_version=10**400)), "manifest.json"),
        (lambda path: made(path, [], manifest([], more=1)), "more: Extra inputs"),
        (lambda path: made(path, [], manifest([], about=[])), "about"),
        (lambda path: made(path, [], manifest([], about={})), "student"),
        (lambda path: made(path, [], manifest([], about={"student": "\ud800"})), "manifest.json"),
        (lambda path: made(path, [], []), "manifest.json"),
    ],
)  # fmt: skip
def test_hostile_ones_are_refused_in_one_sentence(
    tmp_path: Path, make: Callable[[Path], object], said: str
) -> None:
    path = tmp_path / "bad.zip"
    make(path)
    with pytest.raises(ArchiveError, match=said) as caught:
        opened(path)
    assert "\n" not in caught.value.sentence
    assert [one.name for one in tmp_path.iterdir()] in ([], ["bad.zip"])


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="this system does not tell what is open")
def test_a_folder_in_place_of_one_leaves_nothing_open(tmp_path: Path) -> None:
    before = len(list(Path("/proc/self/fd").iterdir()))
    for _ in range(50):
        with pytest.raises(ArchiveError):
            opened(tmp_path)
    assert len(list(Path("/proc/self/fd").iterdir())) < before + 25


def test_a_fault_in_a_file_leaves_no_copy_of_it(tmp_path: Path) -> None:
    path, entries = tmp_path / "bad.zip", [("clips/x.mp4", FILM)]
    said = manifest(entries)
    said["files"][0]["sha256"] = "0" * 64
    with Archive(made(path, entries, said), [KIND]) as archive:
        with pytest.raises(ArchiveError, match="damaged"):
            archive.extract("clips/x.mp4", tmp_path / "x.mp4")
        with pytest.raises(ArchiveError, match="too large"):
            archive.read("clips/x.mp4", most_bytes=10)
        (tmp_path / "mine").write_bytes(b"mine")
        with pytest.raises(FileExistsError):
            archive.extract("clips/x.mp4", tmp_path / "mine")
    assert {one.name for one in tmp_path.iterdir()} == {"bad.zip", "mine"}
    assert (tmp_path / "mine").read_bytes() == b"mine"


def test_a_large_file_needs_no_memory_of_its_size(tmp_path: Path) -> None:
    program = """
import os, resource, sys
from pathlib import Path
from posturewatch.archive.kinds import MP4, Kind
from posturewatch.archive.reading import Archive
from posturewatch.archive.writing import ArchiveWriter
kind, folder = Kind("films", 1, {"clips/": MP4}, "films"), Path(sys.argv[1])
block = os.urandom(1 << 20)
with (folder / "film.mp4").open("wb") as film:
    film.write(b"\\0\\0\\0\\x10ftypisom")
    for _ in range(60):
        film.write(block)
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
with ArchiveWriter(folder / "films.zip", kind) as archive:
    archive.add_file("clips/film.mp4", folder / "film.mp4")
with Archive(folder / "films.zip", [kind]) as archive:
    archive.check()
    archive.extract("clips/film.mp4", folder / "copy.mp4")
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""
    answer = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, check=True
    )
    grown_kb = int(answer.stdout) / (1024 if sys.platform == "darwin" else 1)
    assert grown_kb < 20_000


def test_text_is_told_from_what_is_none() -> None:
    assert JSON.fits('{"name": "Böhm'.encode()[:-1])
    assert not JSON.fits(b'{"name": "\xff\xfe"}')
    assert not JSON.fits(io.BytesIO(b"").read())

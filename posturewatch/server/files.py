"""The page's own files: a fixed list made at the start, so that no address can lead anywhere else."""

from __future__ import annotations

from pathlib import Path

from starlette.responses import PlainTextResponse, RedirectResponse, Response

from posturewatch.errors import UnavailableError

__all__ = ["PageFiles"]

#: Explicit, since some systems map .js to text/plain and a browser then refuses the module.
_CONTENT_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}

#: Pages that have another name now; a bookmark keeps its part after the #.
_MOVED = {"/book.html": "/log.html"}


class PageFiles:
    """The files below web_dir by address.

    Other kinds of file, hidden ones and links that lead out of the folder are not served.

    Raises
    ------
    UnavailableError
        Where index.html is missing.
    """

    def __init__(self, web_dir: Path) -> None:
        root = web_dir.resolve()
        self._files: dict[str, Path] = {}
        for path in sorted(root.rglob("*")):
            inside = path.relative_to(root)
            hidden = any(part.startswith(".") for part in inside.parts)
            if path.suffix in _CONTENT_TYPES and not hidden and path.resolve().is_relative_to(root):
                self._files["/" + inside.as_posix()] = path
        if "/index.html" not in self._files:
            raise UnavailableError("The page's files are missing; install posturewatch again.")
        self._files["/"] = self._files["/index.html"]

    @property
    def addresses(self) -> tuple[str, ...]:
        """Every address that is served."""
        return tuple(self._files)

    def response(self, address: str) -> Response:
        """The file at this address; 404 for any other, 308 for one that has moved."""
        path = self._files.get(address)
        moved = _MOVED.get(address)
        if path is None and moved in self._files:
            return RedirectResponse(moved, status_code=308)
        if path is None or not path.is_file():
            return PlainTextResponse("Not found", status_code=404)
        return Response(path.read_bytes(), headers={"Content-Type": _CONTENT_TYPES[path.suffix]})

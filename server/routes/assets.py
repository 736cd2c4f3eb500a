"""Static files: read and compressed once, under an address with their content's hash, cached for a year."""

import dataclasses
import functools
import gzip
import hashlib
import mimetypes
import threading
from importlib.resources import files
from pathlib import Path

import brotli

from server.settings import outside

#: The chart library as its package carries it.
LIBRARY = "plotly.min.js"
_TYPES = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml"}
#: Beyond this size the slowest compression costs more at start than it saves on the way.
_LARGE = 400_000


@dataclasses.dataclass(frozen=True)
class Asset:
    """One file in every form it is sent in."""

    content_type: str
    plain: bytes
    brotli: bytes
    gzip: bytes

    def fitting(self, accepted: str) -> tuple[bytes, str | None]:
        """The smallest form the browser takes, with its name."""
        offered = {part.partition(";")[0].strip() for part in accepted.lower().split(",")}
        if "br" in offered and len(self.brotli) < len(self.plain):
            return self.brotli, "br"
        if "gzip" in offered and len(self.gzip) < len(self.plain):
            return self.gzip, "gzip"
        return self.plain, None


class Assets:
    """Everything under `web/static`, by path, and the chart library; one hash for the folder, one for it."""

    def __init__(self, folder: Path, library: bytes) -> None:
        self._plain = {
            path.relative_to(folder).as_posix(): path.read_bytes()
            for path in sorted(folder.rglob("*"))
            if path.is_file()
        }
        digest = hashlib.sha256()
        for name, content in self._plain.items():
            digest.update(name.encode() + b"\0" + content)
        self.folder_hash = digest.hexdigest()[:16]
        self.library_hash = hashlib.sha256(library).hexdigest()[:16]
        self._plain[LIBRARY] = library
        self._made: dict[str, Asset] = {}
        self._lock = threading.Lock()

    def href(self, path: str) -> str:
        return f"/static/{self.library_hash if path == LIBRARY else self.folder_hash}/{path}"

    def current(self, content_hash: str, path: str) -> bool:
        return self.href(path) == f"/static/{content_hash}/{path}"

    def get(self, path: str) -> Asset | None:
        """The file in all forms; None when there is none of that name."""
        plain = self._plain.get(path)
        if plain is None:
            return None
        with self._lock:
            if path not in self._made:
                self._made[path] = _compressed(path, plain)
            return self._made[path]

    def prepare(self) -> None:
        """Compress everything now, in a thread of its own, so that no visitor waits for it."""
        threading.Thread(target=self._prepare, name="ringtell-assets", daemon=True).start()

    def _prepare(self) -> None:
        for path in self._plain:
            self.get(path)


def _compressed(path: str, plain: bytes) -> Asset:
    suffix = Path(path).suffix
    kind = _TYPES.get(suffix) or mimetypes.guess_type(path)[0] or "application/octet-stream"
    quality = 6 if len(plain) > _LARGE else 11
    return Asset(
        content_type=kind,
        plain=plain,
        brotli=brotli.compress(plain, quality=quality),
        gzip=gzip.compress(plain, compresslevel=6, mtime=0),
    )


@functools.cache
def assets() -> Assets:
    """The one set of static files of this process."""
    library = files("plotly").joinpath("package_data", LIBRARY).read_bytes()
    return Assets(outside("web") / "static", library)

"""Files brought to be imported, on disk until their rows are stored.

Beside an embedded database, or in the folder of `RINGTELL_IMPORT_FOLDER`, they outlive the server, so that an
import goes on where a stop or a kill left it. Without either they lie in a temporary folder and do not.
"""

import shutil
import tempfile
import threading
from collections.abc import Collection
from pathlib import Path

import sqlalchemy as sa

from server.settings import Settings


class ImportFiles:
    """Where the bytes of imports lie. `outlive`: whether they are there after a restart."""

    def __init__(self, folder: Path | None) -> None:
        self.outlive = folder is not None
        self._folder = folder
        self._lock = threading.Lock()

    def path_of(self, number: int, name: str) -> Path:
        """The file's own name stays out of the path; its suffix tells the kind."""
        with self._lock:
            if self._folder is None:
                self._folder = Path(tempfile.mkdtemp(prefix="ringtell-import-"))
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return self._folder / f"{number}{Path(name).suffix.lower()[:10]}"

    def forget_all_but(self, kept: Collection[Path], *, before_ms: int | None = None) -> None:
        """Remove what belongs to no import that waits any more; before_ms: only what was written before."""
        if self._folder is None or not self._folder.is_dir():
            return
        for path in self._folder.iterdir():
            ours = path not in kept and path.stem.isdigit() and path.is_file()
            if ours and (before_ms is None or path.stat().st_mtime * 1000 < before_ms):
                path.unlink(missing_ok=True)

    def close(self) -> None:
        if not self.outlive and self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)


def files_of(settings: Settings) -> ImportFiles:
    """The folder the settings name, else one beside an embedded database, else a temporary one."""
    if settings.import_folder:
        return ImportFiles(Path(settings.import_folder))
    url = sa.make_url(settings.database_url)
    if url.get_backend_name() == "sqlite" and url.database:
        return ImportFiles(Path(f"{url.database}.imports"))
    return ImportFiles(None)

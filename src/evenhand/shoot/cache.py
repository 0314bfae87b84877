"""The measurement cache: can be deleted at any time and comes back the same.

Keys are a clip's fingerprint, the kind of measurement and the program's version of it.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from types import TracebackType

CACHE = "measurements.db"


class Cache:
    """Bytes by (fingerprint, kind). A cache that cannot be read is thrown away and made anew."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._path = folder / CACHE
        try:
            self._open()
        except sqlite3.DatabaseError:
            self._path.unlink(missing_ok=True)
            self._open()

    def _open(self) -> None:
        self._db = sqlite3.connect(self._path, timeout=30, check_same_thread=False)
        self._db.execute("PRAGMA journal_mode=WAL")
        self._db.execute(
            "CREATE TABLE IF NOT EXISTS measurement"
            " (fingerprint TEXT, kind TEXT, content BLOB, PRIMARY KEY (fingerprint, kind))"
        )
        self._db.commit()

    def get(self, fingerprint: str, kind: str) -> bytes | None:
        """What was measured, or None."""
        row = self._db.execute(
            "SELECT content FROM measurement WHERE fingerprint = ? AND kind = ?",
            (fingerprint, kind),
        ).fetchone()
        return None if row is None else bytes(row[0])

    def put(self, fingerprint: str, kind: str, content: bytes) -> None:
        """Keep a measurement."""
        with self._db:
            self._db.execute(
                "INSERT OR REPLACE INTO measurement VALUES (?, ?, ?)", (fingerprint, kind, content)
            )

    def forget(self, fingerprint: str, beginning: str) -> None:
        """Drop what was measured of one clip, of every kind that begins so."""
        with self._db:
            self._db.execute(
                "DELETE FROM measurement WHERE fingerprint = ? AND substr(kind, 1, ?) = ?",
                (fingerprint, len(beginning), beginning),
            )

    def close(self) -> None:
        """Release the file."""
        self._db.close()

    def __enter__(self) -> Cache:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

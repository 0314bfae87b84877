"""The measurement database: what was measured and made, which can be lost at any time.

Keys are a clip's fingerprint and the kind of measurement, which holds the number of the code that
made it. A database that is missing, broken, locked, a folder, or on a full or read-only disk costs
time and one line: what cannot be kept is measured again.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import TypeVar

import msgspec

DATABASE = "measurements.db"
PATIENCE = 10.0  # seconds to wait for another process that writes
Kept = TypeVar("Kept")
_log = logging.getLogger(__name__)
_SCHEMA = (
    "CREATE TABLE IF NOT EXISTS measurement"
    " (fingerprint TEXT, kind TEXT, content BLOB, PRIMARY KEY (fingerprint, kind))"
)


class Measurements:
    """Records by (fingerprint, kind), in the shoot's folder. No failure of the database is raised.

    What cannot be written stays in memory until this is closed.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / DATABASE
        self._db: sqlite3.Connection | None = None
        self._unwritten: dict[tuple[str, str], bytes] = {}
        self._told = False
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._open()
        except sqlite3.OperationalError as error:
            self._lost(error)  # a folder, no permission, no space, locked: the file is left alone
        except sqlite3.DatabaseError:
            self._made_anew()
        except OSError as error:
            self._lost(error)

    def recall(self, fingerprint: str, kind: str, shape: type[Kept]) -> Kept | None:
        """What was kept, or None; a record that is damaged counts as none."""
        content = self._read(fingerprint, kind)
        if content is None:
            return None
        try:
            return msgspec.msgpack.decode(content, type=shape)
        except (msgspec.MsgspecError, RecursionError):
            return None

    def keep(self, fingerprint: str, kind: str, record: object) -> None:
        """Keep one record."""
        self.keep_all(fingerprint, {kind: record})

    def keep_all(self, fingerprint: str, records: Mapping[str, object]) -> None:
        """Keep records of one clip by kind, in one go."""
        rows = [(fingerprint, k, msgspec.msgpack.encode(r)) for k, r in records.items()]
        with self._safely() as database:
            if database is not None:
                with database:
                    database.executemany("INSERT OR REPLACE INTO measurement VALUES (?,?,?)", rows)
                return
        self._unwritten |= {(f, k): content for f, k, content in rows}

    def kinds(self, fingerprint: str, beginning: str) -> tuple[str, ...]:
        """The kinds that are kept of a clip and begin so, in the order of their names."""
        found = {k for f, k in self._unwritten if f == fingerprint and k.startswith(beginning)}
        with self._safely() as database:
            if database is not None:
                rows = database.execute(
                    "SELECT kind FROM measurement WHERE fingerprint = ? AND substr(kind, 1, ?) = ?",
                    (fingerprint, len(beginning), beginning),
                )
                found |= {str(kind) for (kind,) in rows}
        return tuple(sorted(found))

    def forget(self, fingerprint: str, beginning: str) -> None:
        """Drop what is kept of a clip, of every kind that begins so."""
        for kind in self.kinds(fingerprint, beginning):
            self._unwritten.pop((fingerprint, kind), None)
            with self._safely() as database:
                if database is not None:
                    with database:
                        database.execute(
                            "DELETE FROM measurement WHERE fingerprint = ? AND kind = ?",
                            (fingerprint, kind),
                        )

    def close(self) -> None:
        """Release the file."""
        if self._db is not None:
            with suppress(sqlite3.Error):
                self._db.close()
        self._db = None

    def __enter__(self) -> Measurements:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _open(self) -> None:
        self._db = sqlite3.connect(self._path, timeout=PATIENCE, check_same_thread=False)
        self._db.execute("PRAGMA journal_mode=WAL")
        self._db.execute("PRAGMA synchronous=NORMAL")  # a lost measurement is made again
        self._db.execute(_SCHEMA)
        self._db.execute("SELECT content FROM measurement LIMIT 1").fetchone()
        self._db.commit()

    def _made_anew(self) -> None:
        """A file that is no database, or is not whole, makes room for a new one."""
        self.close()
        try:
            for ending in ("", "-wal", "-shm"):
                self._path.with_name(DATABASE + ending).unlink(missing_ok=True)
            self._open()
            _log.warning("%s: it was damaged; what was measured is measured again.", self._path)
        except (sqlite3.Error, OSError) as error:
            self._lost(error)

    def _read(self, fingerprint: str, kind: str) -> bytes | None:
        held = self._unwritten.get((fingerprint, kind))
        if held is not None:
            return held
        with self._safely() as database:
            if database is not None:
                row = database.execute(
                    "SELECT content FROM measurement WHERE fingerprint = ? AND kind = ?",
                    (fingerprint, kind),
                ).fetchone()
                return bytes(row[0]) if row is not None and isinstance(row[0], bytes) else None
        return None

    @contextmanager
    def _safely(self) -> Iterator[sqlite3.Connection | None]:
        """The connection, or None; what goes wrong with it is told once and costs time alone."""
        try:
            yield self._db
        except sqlite3.OperationalError as error:
            self._lost(error)
        except sqlite3.DatabaseError:
            self._made_anew()

    def _lost(self, error: Exception) -> None:
        self.close()
        if not self._told:
            _log.warning(
                "%s: what is measured now cannot be kept (%s). Mend or delete that file; until "
                "then it is measured each time.",
                self._path,
                str(error) or type(error).__name__,
            )
        self._told = True

"""An open log file, and the two ways to use it: reading, and all-or-nothing writing."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlite_utils import Database

from handsfree.log import files
from handsfree.log.schema import transaction


class OpenedLog:
    """The file behind a log; closes it on leaving a `with` block."""

    def __init__(
        self, db: Database, path: Path, busy_s: float = files.BUSY_S, read_only: bool = False
    ) -> None:
        self.path, self.read_only = path, read_only
        self._db, self._busy_s = db, busy_s

    @classmethod
    def open(
        cls, path: Path | str | None = None, read_only: bool = False, busy_s: float = files.BUSY_S
    ) -> Self:
        """Open the log at `path` (None: the default one), making it unless `read_only`.

        Commands that only read open it so: it may be write-protected, and where there is none
        they say so. Raises LogError as `files.open_database` does.
        """
        chosen = files.whole_path(Path(path) if path is not None else files.default_path())
        return cls(files.open_database(chosen, read_only, busy_s), chosen, busy_s, read_only)

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def _reading(self) -> Iterator[Database]:
        with files.told_plainly(self.path, self._busy_s):
            yield self._db

    @contextmanager
    def _writing(self) -> Iterator[Database]:
        if self.read_only:
            files.refuse_writing(self.path)
        with files.told_plainly(self.path, self._busy_s), transaction(self._db):
            yield self._db

    def data_version(self) -> int:
        """A number that changes once another connection has written to the file."""
        with self._reading() as db:
            return int(db.execute("PRAGMA data_version").fetchone()[0])

"""Entries that were confirmed at some time, for the practice's shared store."""

from collections.abc import Iterator
from typing import Any

from handsfree.log.opened import OpenedLog

_EVER_CONFIRMED = """
SELECT e.id AS entry_id, e.utterance_id AS utterance_id, e.visit_id AS visit_id,
    e.visit_started AS visit_started, v.horse_id AS horse_id, e.horse AS horse,
    h.kind AS horse_kind, e.limb AS limb, e.kind AS kind, e.body AS body, e.heard AS heard,
    e.recorded_at AS said_at, e.replaces AS replaces, e.status AS status,
    e.status_at AS status_at, e.status_by AS status_by
FROM visits AS v JOIN entries_now AS e ON e.visit_id = v.id
LEFT JOIN horses AS h ON h.id = v.horse_id
WHERE EXISTS (SELECT 1 FROM marks AS m WHERE m.entry_id = e.id AND m.status = 'confirmed')
ORDER BY v.started_at, v.rowid, e.utterance_seq, e.seq"""


class ConfirmedLog(OpenedLog):
    """The part of the log that the practice's store is filled from."""

    def ever_confirmed(self) -> Iterator[dict[str, Any]]:
        """Every entry that is or was confirmed, with its latest status, oldest visit first."""
        with self._reading() as db:
            yield from db.query(_EVER_CONFIRMED)

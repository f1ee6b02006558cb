"""Notes of an earlier day, typed now: they go into the horse's visit of that day."""

from dataclasses import replace
from datetime import UTC, datetime

from handsfree.dialogue.dialogue import Dialogue
from handsfree.log import Horse, Log
from handsfree.log.rows import zone_of
from handsfree.recording import Recorder


class EarlierDay(Recorder):
    """Writes as if it were `at`, a moment of that day by the clock of this place.

    A visit of the horse on that day is gone on with; a foot must be named anew. `hour_said`:
    somebody said the hour; else what goes on in a visit is as late as what was said last in it.
    """

    def __init__(
        self,
        source: str,
        log: Log,
        dialogue: Dialogue,
        horse: Horse,
        at: datetime,
        hour_said: bool,
    ) -> None:
        self._at = at.astimezone()
        limbs = dialogue.state.limbs
        super().__init__(source, log, dialogue, horse)
        visit_id = self._of_that_day(log, horse.id)
        if visit_id is not None:
            visit = log.visit(visit_id)
            self.go_on(visit)
            dialogue.session.state = replace(dialogue.state, limbs=limbs, limb_unsure=False)
            if not hour_said:
                last = [u.recorded_at for u in log.utterances(visit.id) if u.recorded_at]
                self._at = datetime.fromisoformat(max(last, default=visit.started_at)).astimezone()

    def _now(self) -> str:
        return self._at.astimezone(UTC).isoformat(timespec="milliseconds")

    def _begin_visit(self, horse_id: str | None, at: str) -> str:
        assert self._log is not None
        known = self._of_that_day(self._log, horse_id)
        if known is not None:
            return known
        said, zone = self._horse_said, zone_of(self._at)
        return self._log.start_visit(self.source, horse_id, None, at, said, zone).id

    def _of_that_day(self, log: Log, horse_id: str | None) -> str | None:
        """The last visit of a horse on that day."""
        on = [v.id for v in log.visits_on(self._at.date()) if v.horse_id == horse_id]
        return on[-1] if on and horse_id is not None else None

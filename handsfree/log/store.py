"""The log as the rest of the program uses it."""

import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

from handsfree.errors import LogError
from handsfree.log import marks, reading, writing
from handsfree.log.confirmed import ConfirmedLog
from handsfree.log.finding import FindableLog
from handsfree.log.heard_again import HeardAgainLog, as_last_heard
from handsfree.log.joining import JoiningLog
from handsfree.log.judging import JudgedLog
from handsfree.log.keeping import KeptLog
from handsfree.log.rows import (
    Appended,
    Author,
    Entry,
    EntryBody,
    Horse,
    HorseEntry,
    Notice,
    NoticeRow,
    Utterance,
    UtteranceRow,
    Visit,
    VisitSummary,
    new_id,
    now,
    storable,
    zone_of,
)


def name_key(name: str) -> str:
    """The form in which two spellings of one horse's name are equal."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


class Log(JudgedLog, KeptLog, HeardAgainLog, ConfirmedLog, JoiningLog, FindableLog):
    """An open log. Use one per thread; any number of processes may have the same file open.

    Every method raises LogError, one line naming the file, when the file refuses.
    """

    # Horses and visits

    def add_horse(
        self,
        name: str,
        kind: str | None = None,
        breed: str | None = None,
        born: str | None = None,
    ) -> Horse:
        """Add a horse; `kind` is 'heavy', 'riding' or None, `born` YYYY or YYYY-MM-DD.

        A name already there, in whatever case, gives the horse that has it, with its kind, breed
        and birth set to what is given. Raises LogError for a blank name.
        """
        shown = " ".join(storable(name).split())
        if not shown:
            raise LogError("a horse needs a name")
        with self._writing() as db:
            known = reading.horse(db, name_key(shown))
            if known is None:
                known = Horse(new_id(), shown, kind, now(), breed, born)
                db.table("horses").insert({**vars(known), "name_key": name_key(shown)})
            else:
                new = replace(
                    known,
                    kind=kind or known.kind,
                    breed=breed or known.breed,
                    born=born or known.born,
                )
                if new != known:
                    db.execute(
                        "UPDATE horses SET kind = ?, breed = ?, born = ? WHERE id = ?",
                        [new.kind, new.breed, new.born, new.id],
                    )
                known = new
        return known

    def horses(self) -> list[Horse]:
        """All horses in alphabetical order."""
        with self._reading() as db:
            return reading.horses(db)

    def horse_entries(self, horse_id: str) -> list[HorseEntry]:
        """What counts of all visits to a horse, oldest visit first, in the order it was said."""
        with self._reading() as db:
            return reading.horse_entries(db, horse_id)

    def visits_of(self, horse_id: str) -> list[Visit]:
        """The visits to a horse, oldest first."""
        with self._reading() as db:
            return reading.visits_of(db, horse_id)

    def horse(self, name: str) -> Horse | None:
        """The horse of this name, upper and lower case alike, or None."""
        with self._reading() as db:
            return reading.horse(db, name_key(storable(name)))

    def horse_names(self) -> list[str]:
        """All names as first written, in alphabetical order."""
        with self._reading() as db:
            return [row["name"] for row in db.query("SELECT name FROM horses ORDER BY name_key")]

    def start_visit(
        self,
        source: str,
        horse_id: str | None = None,
        note: str | None = None,
        started_at: str | None = None,
        horse_said: str | None = None,
        zone: str | None = None,
    ) -> Visit:
        """Begin a visit; `source` is a file name, 'microphone' or 'typed'.

        `horse_said` as in Visit, where the name that was said is no horse's of the log; `zone`
        as in Visit, of this place for a visit that begins now.
        """
        row = {
            "id": new_id(),
            "horse_id": horse_id,
            "started_at": started_at or now(),
            "source": storable(source),
            "note": None if note is None else storable(note),
            "horse_said": None if horse_said is None else storable(horse_said),
            "zone": zone or (None if started_at else zone_of(datetime.now())),
        }
        with self._writing() as db:
            db.table("visits").insert(row)
        return self.visit(str(row["id"]))

    def name_horse(self, visit_id: str, horse_id: str) -> None:
        """Say which horse a visit is about, once its name has been heard."""
        with self._writing() as db:
            full = reading.visit(db, visit_id).id
            db.execute("UPDATE visits SET horse_id = ? WHERE id = ?", [horse_id, full])

    def name_visit(self, visit_id: str, name: str) -> Horse:
        """Say which horse a visit is about; a horse of a new name is added.

        What was heard of the name stays. Raises LogError for a blank name.
        """
        horse = self.horse(name) or self.add_horse(name)
        self.name_horse(visit_id, horse.id)
        return horse

    def visits(self, limit: int | None = None, horse: str | None = None) -> list[VisitSummary]:
        """Visits with counts, latest first; only those of the horse so named, if given."""
        with self._reading() as db:
            return reading.visits(db, limit, None if horse is None else name_key(storable(horse)))

    def visits_on(self, day: date) -> list[Visit]:
        """The visits of this day by the clock where each was, in order of time."""
        # No clock is a whole day from UTC.
        start = datetime.combine(day, time.min, UTC) - timedelta(days=1)
        with self._reading() as db:
            near = reading.visits_between(
                db, start.isoformat(), (start + timedelta(days=3)).isoformat()
            )
        return [visit for visit in near if visit.day == day]

    def visit(self, id_or_prefix: str) -> Visit:
        """The visit of this id, or whose id alone begins so; else LogError."""
        with self._reading() as db:
            return reading.visit(db, id_or_prefix)

    # Writing

    def append(
        self,
        visit_id: str,
        utterance: UtteranceRow,
        entries: Sequence[EntryBody] = (),
        sound_flac: bytes | None = None,
        strikes: Sequence[str] = (),
        replaces: Sequence[str] = (),
        by: str = "voice",
        *,
        restores: Sequence[str] = (),
        confirms: Sequence[str] = (),
        notices: Sequence[NoticeRow] = (),
        settles: Sequence[str] = (),
        confirmed: bool = False,
    ) -> Appended:
        """Write one utterance with all that follows from it, in one transaction.

        When this returns it is on the disk, even through a power cut. The entries of
        `strikes` are marked struck; those of `replaces` are marked corrected, and the new
        entries refer to them in order (the last of them to all that are left over).
        `restores` are replaced entries that count again, `confirms` are marked confirmed;
        `notices` are added and those of `settles` settled. `confirmed`: a person put the
        new entries in himself, so that there is nothing left to confirm.
        """
        writing.check_bodies(entries)
        utterance_id, change = new_id(), new_id()
        author = Author(by, utterance_id=utterance_id)
        with self._writing() as db:
            seq = reading.next_seq(db, "utterances", "visit_id", visit_id)
            writing.add_utterance(db, utterance_id, visit_id, seq, utterance)
            if sound_flac is not None:
                db.table("sounds").insert({"utterance_id": utterance_id, "flac": sound_flac})
            marked = marks.mark_in_force(db, strikes, "struck", author, change)
            marked += marks.mark_in_force(db, replaces, "corrected", author, change)
            ids = writing.add_entries(db, utterance_id, entries, "heard", replaces)
            marks.add(db, ids, "confirmed" if confirmed else "heard", author, change)
            marks.add(db, restores, "heard", author, change)
            marked += marks.mark_in_force(db, confirms, "confirmed", author, change)
            told = writing.add_notices(db, visit_id, notices, utterance_id, ids)
            writing.settle(db, settles, utterance_id)
        return Appended(utterance_id, seq, ids, marked, change, told)

    def notice(self, visit_id: str, notice: NoticeRow) -> str:
        """Keep a notice that no utterance called for; returns its id."""
        with self._writing() as db:
            return writing.add_notices(db, visit_id, [notice])[0]

    # Reading

    def entries(self, visit_id: str, in_force: bool = False) -> list[Entry]:
        """A visit's entries as they were said; with `in_force` only those that count."""
        with self._reading() as db:
            return reading.entries(db, reading.visit(db, visit_id).id, in_force)

    def utterances(self, visit_id: str) -> list[Utterance]:
        """All utterances of a visit, in order, without their sound.

        Of one whose entries in force are of a later hearing, words and doubt are of that.
        """
        with self._reading() as db:
            full = reading.visit(db, visit_id).id
            return as_last_heard(db, full, reading.utterances(db, full))

    def notices(self, visit_id: str, settled: bool = False) -> list[Notice]:
        """What the program has to say about a visit and is not settled yet, in order.

        With `settled` all that it ever had to say.
        """
        with self._reading() as db:
            return reading.notices(db, reading.visit(db, visit_id).id, settled)

    def sound(self, utterance_id: str) -> bytes | None:
        """The utterance's sound as the bytes of a FLAC file, None where none was kept."""
        with self._reading() as db:
            found = db.execute("SELECT flac FROM sounds WHERE utterance_id = ?", [utterance_id])
            row = found.fetchone()
        return None if row is None else bytes(row[0])

    def check(self) -> list[str]:
        """Read the whole file and list what is wrong with it; empty when sound."""
        try:
            with self._reading() as db:
                rows = [str(row[0]) for row in db.execute("PRAGMA integrity_check")]
                references = db.execute("PRAGMA foreign_key_check").fetchall()
        except LogError as error:  # too damaged even to be checked through
            return [str(error)]
        broken = [f"broken reference in {row[0]}" for row in references]
        return [row for row in rows if row != "ok"] + broken

"""What a person decides about entries: confirm, strike, correct, move, and take it back."""

from collections.abc import Sequence

from handsfree.log import lessons, marks, passing, reading, writing
from handsfree.log.opened import OpenedLog
from handsfree.log.rows import (
    Appended,
    Author,
    Change,
    ChangedMeanwhile,
    EntryBody,
    Lesson,
    Mark,
    NoticeRow,
    new_id,
    now,
)


class JudgedLog(OpenedLog):
    """The part of the log that a review writes. Each method is one transaction."""

    def confirm(
        self,
        entry_ids: Sequence[str],
        by: str,
        reason: str | None = None,
        utterance_id: str | None = None,
        *,
        whole: bool = False,
    ) -> tuple[str, ...]:
        """Mark entries confirmed; returns those that were in force and unconfirmed.

        `whole`: raises ChangedMeanwhile when one of them is no longer in force.
        """
        author = Author(by, reason, utterance_id)
        with self._writing() as db:
            if whole:
                marks.check_in_force(db, entry_ids)
            return marks.mark_in_force(db, entry_ids, "confirmed", author, new_id())

    def strike(
        self,
        entry_ids: Sequence[str],
        by: str,
        reason: str | None = None,
        utterance_id: str | None = None,
        *,
        whole: bool = False,
        passes: Sequence[str] = (),
    ) -> tuple[str, ...]:
        """Mark entries struck; returns those that were in force.

        `whole` as in `confirm`. `passes` are utterances that hold no note, so that nobody
        needs to look at them again.
        """
        author, change = Author(by, reason, utterance_id), new_id()
        with self._writing() as db:
            if whole:
                marks.check_in_force(db, entry_ids)
            passing.add(db, passes, "passed", author, change)
            return marks.mark_in_force(db, entry_ids, "struck", author, change)

    def correct(
        self,
        utterance_id: str,
        entries: Sequence[EntryBody],
        by: str,
        replaces: Sequence[str] = (),
        reason: str | None = None,
        *,
        confirmed: bool = True,
        taught: tuple[str, str] | None = None,
        expects: Sequence[str] | None = None,
        notices: Sequence[NoticeRow] = (),
    ) -> Appended:
        """Put in what a person says was meant: new entries, confirmed, in place of old ones.

        With `replaces` empty it adds entries to an utterance. `confirmed` False leaves them
        to be looked at again. `taught` is (words heard, sentence meant): a lesson that counts
        until the correction is undone or the utterance teaches another; with an empty
        sentence it teaches nothing, and what it taught before does not count. `expects` are
        the utterance's entries in force as the person saw them. Raises ChangedMeanwhile when
        these, or an entry to replace, are no longer so.
        """
        writing.check_bodies(entries)
        change = new_id()
        author = Author(by, reason)
        with self._writing() as db:
            seq = reading.utterance_seq(db, utterance_id)
            if expects is not None and reading.in_force(db, utterance_id) != set(expects):
                raise ChangedMeanwhile
            marks.check_in_force(db, replaces)
            marked = marks.mark_in_force(db, replaces, "corrected", author, change)
            ids = writing.add_entries(db, utterance_id, entries, "corrected", replaces)
            marks.add(db, ids, "confirmed" if confirmed else "heard", author, change)
            if taught is not None:
                lessons.add(db, *taught, utterance_id, change, by)
            visit_id = reading.visit_of(db, utterance_id)
            told = writing.add_notices(db, visit_id, notices, utterance_id, ids)
        return Appended(utterance_id, seq, ids, marked, change, told)

    def move(
        self,
        entry_ids: Sequence[str],
        visit_id: str,
        by: str,
        reason: str | None = None,
        notices: Sequence[NoticeRow] = (),
        *,
        confirmed: bool = True,
    ) -> tuple[Appended, ...]:
        """Take entries over into another visit; one result per utterance copied there.

        Their utterances are copied to the end of that visit with sound and times, and the
        entries with them, confirmed unless `confirmed` is false; the old ones are marked
        corrected, and of an unclear utterance nothing is left to look at. `notices` count their
        `entry` among the moved entries of all utterances. All is one change, so that `undo` in
        either visit takes back the whole. Raises ChangedMeanwhile when an entry is no longer in
        force.
        """
        change, author = new_id(), Author(by, reason)
        done: list[Appended] = []
        with self._writing() as db:
            there = reading.visit(db, visit_id).id
            marks.check_in_force(db, entry_ids)
            marked = marks.mark_in_force(db, entry_ids, "corrected", author, change)
            new_ids: list[str] = []
            for utterance_id, entries in reading.by_utterance(db, entry_ids).items():
                unclear = reading.utterance_status(db, utterance_id) == "unclear"
                passing.add(db, (utterance_id,) if unclear else (), "passed", author, change)
                copy, seq = writing.copy_utterance(db, utterance_id, there)
                old = [entry_id for entry_id, _ in entries]
                ids = writing.add_entries(db, copy, [b for _, b in entries], "corrected", old)
                marks.add(db, ids, "confirmed" if confirmed else "heard", author, change)
                new_ids += ids
                gone = tuple(i for i in marked if i in old)
                done.append(Appended(copy, seq, ids, gone, change))
            writing.add_notices(db, there, notices, None, new_ids)
        return tuple(done)

    def undo(self, visit_id: str, by: str) -> Change | None:
        """Take back the latest change `by` made in the visit; again for the one before.

        Returns what was undone, or None when nothing is left. Nothing is deleted: the
        undoing is itself in the history, so it works after a restart too.
        """
        with self._writing() as db:
            return marks.undo(db, reading.visit(db, visit_id).id, Author(by))

    def settle(self, notice_ids: Sequence[str]) -> None:
        """Say that notices need no answer any more."""
        with self._writing() as db:
            writing.settle(db, notice_ids, None)

    def passed(self, visit_id: str) -> frozenset[str]:
        """Ids of the visit's utterances that were said to hold no note."""
        with self._reading() as db:
            return passing.passed(db, reading.visit(db, visit_id).id)

    def history(self, entry_id: str) -> list[Mark]:
        """All marks of an entry, oldest first. Raises LogError for an unknown id."""
        with self._reading() as db:
            return marks.history(db, entry_id)

    def passing_history(self, utterance_id: str) -> list[Mark]:
        """Marks of an utterance itself ('passed', 'open'), oldest first, as those of entries.

        Their `entry_id` is empty.
        """
        with self._reading() as db:
            return passing.history(db, utterance_id)

    def lessons(self) -> list[Lesson]:
        """What corrections taught and still holds, most often taught first, latest first."""
        with self._reading() as db:
            return lessons.all_now(db)

    def forget_lesson(self, heard: str, meant: str, by: str = "review") -> bool:
        """Let a lesson not count any more; False when there is none. New teaching counts."""
        with self._writing() as db:
            return lessons.forget(db, heard, meant, by, now())

"""The desk in a thread of its own: SQLite's connection stays in one, and no key waits for it."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from handsfree.review.desk import Desk
from handsfree.screens.frame import Seen

T = TypeVar("T")


class DeskThread:
    """Opens a desk and does things with it, one after the other, in one thread."""

    def __init__(self, factory: Callable[[], Desk]) -> None:
        self._factory = factory
        self._desk: Desk | None = None
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="desk")
        self._warm = self._warmed = False

    async def open(self) -> Seen:
        """Make the desk. Raises what the factory raises."""
        self._desk, seen = await self._in_thread(self._made)
        return seen

    def _made(self) -> tuple[Desk, Seen]:
        desk = self._factory()
        return desk, Seen.of(desk)

    @property
    def is_open(self) -> bool:
        """Whether there is a desk yet."""
        return self._desk is not None

    async def do(self, act: Callable[[Desk], T]) -> T:
        """Do something with the desk; it must be open."""
        desk = self._opened()
        return await self._in_thread(lambda: act(desk))

    async def open_visit(self, visit_id: str) -> Seen:
        """Go on with another visit of the same log."""

        def other(desk: Desk) -> tuple[Desk, Seen]:
            made = desk.at_visit(visit_id)
            if self._warmed:
                made.look_closer()
            return made, Seen.of(made)

        self._desk, seen = await self.do(other)
        return seen

    async def warm_up(self) -> None:
        """Get ready to look for nearest sentences, beside everything else; takes a second."""
        await asyncio.to_thread(self._opened().warm_up)
        self._warm = self._warmed = True

    async def look_again(self, may_look_closer: bool) -> tuple[bool, Seen | None]:
        """Whether another process wrote, and what is to be shown anew, None where it is the same.

        With `may_look_closer`, once it is warm, the alternatives get the nearest sentences too.
        """
        closer = self._warm and may_look_closer
        self._warm = self._warm and not closer

        def again(desk: Desk) -> tuple[bool, Seen | None]:
            changed = desk.refresh()
            if closer:
                desk.look_closer()
            return changed, Seen.of(desk) if changed or closer else None

        return await self.do(again)

    def close(self) -> None:
        """Let what is being written come to its end, and close the log."""
        if self._desk is not None:
            self._pool.submit(self._desk.close)
        self._pool.shutdown(wait=True)

    def _opened(self) -> Desk:
        if self._desk is None:
            raise RuntimeError("the desk is not open yet")
        return self._desk

    async def _in_thread(self, act: Callable[[], T]) -> T:
        return await asyncio.get_running_loop().run_in_executor(self._pool, act)

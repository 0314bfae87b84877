"""Stages of work in threads of their own, with little waiting between them and a clean stop."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Final, Generic, TypeVar

T = TypeVar("T")
_PATIENCE: Final = 0.1  # seconds between looks at whether somebody has given up


class _End:
    """Marks the end of a line."""


class Stopped(Exception):
    """Another stage has failed or the person has stopped the work."""


class Line(Generic[T]):
    """A short line of things between two stages: the first waits when it is full."""

    def __init__(self, depth: int, stop: threading.Event) -> None:
        self._queue: queue.Queue[T | _End] = queue.Queue(depth)
        self._stop = stop

    def put(self, thing: T | _End) -> None:
        """Hand a thing on. Raises Stopped when nobody will take it."""
        while not self._stop.is_set():
            with contextlib.suppress(queue.Full):
                self._queue.put(thing, timeout=_PATIENCE)
                return
        raise Stopped

    def close(self) -> None:
        """Say that nothing follows."""
        self.put(_End())

    def __iter__(self) -> Iterator[T]:
        while True:
            if self._stop.is_set():
                raise Stopped
            with contextlib.suppress(queue.Empty):
                thing = self._queue.get(timeout=_PATIENCE)
                if isinstance(thing, _End):
                    return
                yield thing


class Stages:
    """Threads that end together: leaving the block, however, stops and joins them all.

    An error in a stage stops the others and is raised when the block is left.
    """

    def __init__(self) -> None:
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []
        self._errors: list[BaseException] = []

    def line(self, depth: int) -> Line[T]:
        """A line between two stages that holds at most `depth` things."""
        return Line(depth, self._stop)

    def start(self, work: Callable[[], None], name: str) -> None:
        """Run `work` in a thread of its own."""

        def run() -> None:
            try:
                work()
            except Stopped:
                pass
            except BaseException as error:
                self._errors.append(error)
                self._stop.set()

        thread = threading.Thread(target=run, name=name, daemon=True)
        self._threads.append(thread)
        thread.start()

    def __enter__(self) -> Stages:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if error is not None:
            self._stop.set()
        for thread in self._threads:
            thread.join()
        if self._errors and (error is None or isinstance(error, Stopped)):
            raise self._errors[0]

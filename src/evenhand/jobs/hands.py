"""Child processes in which clips are probed, decoded and measured, and what went wrong there."""

from __future__ import annotations

import re
import time
from pathlib import Path

from evenhand.atomic import write_whole
from evenhand.children import Limits, Pool
from evenhand.errors import EvenhandError, FaultError
from evenhand.media.records import ClipFacts

MODULES = ("evenhand.jobs.identification", "evenhand.jobs.looking", "evenhand.jobs.skin")
FAULTS = "faults"  # the folder of the shoot in which traces are kept
_LEAST = 120.0  # seconds that any call may take
_A_FRAME = 2.0  # seconds, many times what measuring a UHD frame takes on a slow machine


def hands(workers: int | None = None) -> Pool:
    """Children for clips; none is started before there is something to do."""
    return Pool(workers, MODULES, "evenhand.jobs.hands:begin")


def begin() -> None:
    """Set a child up: two children use two cores, so each keeps to one thread where it can."""
    import cv2

    cv2.setNumThreads(1)


def limits(facts: ClipFacts) -> Limits:
    """What measuring a clip may take, generously: time grows with its frames."""
    return Limits(seconds=_LEAST + _A_FRAME * facts.frames)


def told(folder: Path, error: EvenhandError) -> str:
    """An error as one line; the trace of a fault goes into a file that the line names."""
    if not isinstance(error, FaultError):
        return str(error)
    name = re.sub(r"[^A-Za-z0-9._-]+", "_", str(error.subject))[-60:]
    target = folder / FAULTS / f"{time.strftime('%Y%m%d-%H%M%S')}-{name}.txt"
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_whole(target, error.trace.encode("utf-8", "backslashreplace"))
    except (EvenhandError, OSError):
        return str(error)
    return f"{error.subject}: {error.found}. Report it with {target}."

"""What is wrong with a file, in words."""

from __future__ import annotations

from evenhand.wording.figures import counted
from evenhand.wording.saying import Clause

CLAUSES: dict[str, Clause] = {
    "damage.frames-missing": lambda promised, frames: (
        f"the file is cut short: its index lists {promised} frames, {frames} are there"
    ),
    "damage.cut-short": lambda: "the file is cut short: its last part should reach further",
    "damage.first-picture": lambda: "its first picture cannot be decoded",
    "damage.undecodable": lambda places, frames: (
        f"{counted(places, 'place')} could not be decoded; {frames} frames came out"
    ),
    "unreadable.no-clip": lambda: "it is no clip that can be read",
    "unreadable.refused": lambda: "the system refuses to open it",
    "unreadable.another-kind": lambda: "it is a file of another kind",
    "unreadable.empty": lambda: "the file is empty",
    "unreadable.unfinished": lambda: "the recording was never finalised",
    "unreadable.damaged": lambda: "it is damaged",
    "unreadable.no-picture": lambda: "there is no picture in it that can be decoded",
    "unreadable.gone": lambda: "the file is not there any more",
    "unreadable.not-read": lambda: "the drive failed while it was read",
    "unreadable.beyond-memory": lambda: "it asks for more memory than there is",
    "unreadable.beyond-limits": lambda: (
        "its size, length, rate or number of streams is beyond what a clip may have"
    ),
    "unreadable.other-pixels": lambda: "its pixels are of a format that is not read",
    "unreadable.crashed": lambda: "reading it crashed, hung or took too much memory",
}

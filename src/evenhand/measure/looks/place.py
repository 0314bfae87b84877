"""Whether a look is declared for what it is, and whether it stands where it can work."""

from __future__ import annotations

from typing import Literal

import msgspec

from evenhand.grade.spaces import DISPLAY, is_display, is_log
from evenhand.measure.looks.kind import LookKind

Verdict = Literal["agrees", "doubtful", "disagrees"]


class Placing(msgspec.Struct, frozen=True):
    """Whether a finding and a declaration or a place go together, and why not."""

    verdict: Verdict
    says: str = ""
    remedy: str = ""


_AGREES = Placing("agrees")


def check_declared(found: LookKind, space: str, gives: str) -> Placing:
    """Hold what a look declares (what it expects, what it gives) against what its table does."""
    if is_log(space) and is_display(gives):
        return _as_conversion(found, space)
    if is_display(space) and is_display(gives):
        return _as_look(found)
    if found.kind == "conversion":
        return Placing(
            "disagrees",
            f"declared to give {gives}, but {_response(found)}: that is a picture for a display",
            f"Declare that it gives {DISPLAY}",
        )
    return Placing(
        "doubtful",
        f"declared to expect {space} and give {gives}, which a table alone cannot confirm",
        "Look at a clip with it and without it",
    )


def check_place(found: LookKind, signal: str) -> Placing:
    """Whether a look can be put on signal of that space: `bt709-display`, `phone-log-1`, …

    A creative look straight on log, and a conversion on a picture that is converted already, are
    the two ways to put a look wrong.
    """
    if is_log(signal) and found.kind == "look":
        return Placing(
            "disagrees",
            f"a creative look straight on {signal}: it leaves greys where they are "
            f"({_ends(found)}), so the picture stays as flat as log",
            "Put it after the conversion to a display",
        )
    if is_display(signal) and (found.kind == "conversion" or found.twice):
        return Placing(
            "disagrees",
            f"a conversion on {signal}, which is converted already: {_response(found)}, and a "
            "second conversion crushes the darks and burns the lights",
            "Leave it away, or put it on the log clip in place of the output transform",
        )
    if is_log(signal) and found.kind == "conversion":
        return _as_conversion(found, signal)
    return _AGREES if found.kind != "unsure" else _unsure(found)


def _as_look(found: LookKind) -> Placing:
    if found.kind == "conversion" or found.twice:
        return Placing(
            "disagrees",
            f"declared display, but {_response(found)}: after the output transform it would "
            "convert a "
            "second time",
            f"Declare the log it is made for; fits: {', '.join(found.logs or found.twice)}",
        )
    if found.kind == "else":
        return Placing("doubtful", found.says, "Look at a clip with it and without it")
    return _AGREES if found.kind != "unsure" else _unsure(found)


def _as_conversion(found: LookKind, space: str) -> Placing:
    if found.kind in ("look", "identity"):
        return Placing(
            "disagrees",
            f"declared a conversion from {space}, but greys stay where they are ({_ends(found)}): "
            "that is a creative look, and on log the picture would stay flat",
            f"Declare that it expects {DISPLAY}",
        )
    if found.kind == "conversion" and space not in found.logs:
        return Placing(
            "doubtful",
            f"declared for {space}, but {', '.join(found.logs)} fits better",
            "Ask who made it which log it is for",
        )
    if found.kind == "conversion":
        return _AGREES
    return _unsure(found)


def _unsure(found: LookKind) -> Placing:
    return Placing("doubtful", found.says, "Look at a clip with it and without it")


def _response(found: LookKind) -> str:
    return f"the grey response is that of a conversion from log ({_ends(found)})"


def _ends(found: LookKind) -> str:
    black, middle, white = (round(100 * v) for v in (found.black, found.middle, found.white))
    return f"signal 0 gives {black} %, 50 % gives {middle} %, 100 % gives {white} %"

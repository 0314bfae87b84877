"""What the hue of skin says of a clip, or why it says nothing, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from evenhand.wording import figures
from evenhand.wording.figures import signed
from evenhand.wording.saying import Clause

HOW_TO_POINT: Final = "point at skin: evenhand level --skin CLIP@TIME,X,Y"
# What comes after levelling, as `SkinPlace` names its stages.
_STEPS: Final[Mapping[str, str]] = {"adjusted": "the adjustment by hand", "looked": "the look"}


def _at(angle: float) -> str:
    return f"skin lies at {angle:.0f}° after levelling"


def _apart(off: float) -> str:
    return "on the skin line" if abs(off) < 1.0 else f"{abs(off):.0f}° from the skin line"


def _turned(turn: float) -> str:
    if abs(turn) < 0.5:
        return "left it there"
    return f"turned it by {signed(turn, 0)}°"


def _side(turn: float) -> str:
    """Larger angles are yellower skin, smaller ones redder: on both matrices."""
    if abs(turn) > 90.0:
        return "to the other side"
    return "towards yellow" if turn > 0 else "towards red"


def _turned_away(angle: float, low: float, high: float, off: float, away: float) -> str:
    return (
        f"{_at(angle)}, outside {low:.0f}° to {high:.0f}°, and levelling turned it {away:.0f}° "
        f"away from the skin line, {_side(off)}: look at the white of this clip"
    )


def _shot_outside(angle: float, low: float, high: float, off: float, shot: float) -> str:
    return (
        f"{_at(angle)}, outside {low:.0f}° to {high:.0f}°, {_apart(off)}; as shot it lay at "
        f"{shot:.0f}°; the light may be meant so, and nothing was done about it"
    )


def _step_turns(stage: str, turn: float, angle: float, left: bool) -> str:
    to = f", out of the band to {angle:.0f}°" if left else f", to {angle:.0f}°"
    return f"{_STEPS[stage]} turns skin by {signed(turn, 0)}°, {_side(turn)}{to}"


def _pair(a: str, b: str, turn: float, stops: float) -> str:
    return (
        f"the skin pointed at in {b} lies {signed(turn, 0)}° and {figures.stops(stops)} from that "
        f"in {a}, both levelled"
    )


CLAUSES: Final[Mapping[str, Clause]] = {
    "skin.grey": lambda: "skin is nearly grey after levelling: it has no hue to check",
    "skin.grey-as-shot": lambda angle, off: (
        f"{_at(angle)}, {_apart(off)}; as shot it was nearly grey"
    ),
    "skin.inside": lambda angle, off, turn: (
        f"{_at(angle)}, {_apart(off)}; levelling {_turned(turn)}"
    ),
    "skin.turned-away": _turned_away,
    "skin.shot-outside": _shot_outside,
    "skin.step-no-hue": lambda stage: f"{_STEPS[stage]} found no hue in skin to turn",
    "skin.step-takes-hue": lambda stage: f"{_STEPS[stage]} takes the hue out of skin",
    "skin.step-leaves": lambda stage, turn: f"{_STEPS[stage]} leaves its hue ({signed(turn, 0)}°)",
    "skin.step-turns": _step_turns,
    "skin.pair-agrees": _pair,
    "skin.pair-differs": lambda **of: (
        f"{_pair(**of)}: if it is one person, the two clips do not match"
    ),
    "skin.point-unread": lambda: "what was pointed at is clipped or black: no hue to read",
    "skin.faces-unread": lambda: "the faces found are too small, clipped or dark to be read",
    "skin.no-face": lambda frames: (
        f"no face was found in {frames} frames; to read it, {HOW_TO_POINT}"
    ),
    "skin.no-model": lambda: (
        "faces are found by an optional model that is not here: add it by `make faces`; or "
        f"{HOW_TO_POINT}"
    ),
    "skin.other-model": lambda: (
        "the face model here is not the one that was tried: add it again by `make faces`; or "
        f"{HOW_TO_POINT}"
    ),
}

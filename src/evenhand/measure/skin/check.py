"""What the hue of skin says about a clip's levelling and look, as a record and in plain words.

A warning needs two things: skin lies outside the band after levelling, and levelling turned it away
from the skin line by more than `MOST_TURN`. Skin that was shot outside the band (an evening, a
coloured lamp) is told and left; what a look does to skin is told as the look's doing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import msgspec

from evenhand.grade.document import Grade
from evenhand.grade.output_transforms import output_encoding
from evenhand.measure.graticule import SkinLine, skin_line
from evenhand.measure.skin.reading import SkinPlace, SkinReading, middle

Found = Literal["face", "person"]
SkinVerdict = Literal["fine", "told", "warn"]

MOST_TURN: Final = 8.0  # degrees away from the line that levelling may turn skin unremarked
LOOK_TURN: Final = 2.0  # degrees under which a look is said to leave skin as it is
PAIR_STOPS: Final = 0.5  # stops by which one person may differ between two clips


class SkinCheck(msgspec.Struct, frozen=True, kw_only=True):
    """The skin of one clip against the skin line of its display encoding.

    by: found as faces, or pointed at by a person. line, low, high: degrees (`SkinLine`). shot to
    looked: the middle of all places at each stage, as in `SkinPlace`.
    """

    clip: str
    by: Found
    encoding: str
    line: float
    low: float
    high: float
    places: tuple[SkinPlace, ...]
    shot: SkinReading
    levelled: SkinReading
    adjusted: SkinReading | None
    looked: SkinReading | None
    verdict: SkinVerdict
    words: str


class SkinPair(msgspec.Struct, frozen=True):
    """One person in two clips, pointed at in both: b against a, both levelled.

    turn: degrees; stops: scene light.
    """

    a: str
    b: str
    turn: float
    stops: float
    verdict: SkinVerdict
    words: str


def check_skin(clip: str, by: Found, places: Sequence[SkinPlace], grade: Grade) -> SkinCheck:
    """Judge the places (one or more) of a clip. ValueError for an encoding without a skin line."""
    encoding = output_encoding(grade.output_transform)
    line = skin_line(encoding)
    if line is None:
        raise ValueError(f"{encoding.name} has no skin line")
    shot, levelled = middle([p.shot for p in places]), middle([p.levelled for p in places])
    adjusted = [p.adjusted for p in places if p.adjusted is not None]
    looked = [p.looked for p in places if p.looked is not None]
    check = SkinCheck(
        clip=clip,
        by=by,
        encoding=encoding.name,
        line=line.angle,
        low=line.low,
        high=line.high,
        places=tuple(places),
        shot=shot,
        levelled=levelled,
        adjusted=middle(adjusted) if adjusted else None,
        looked=middle(looked) if looked else None,
        verdict="fine",
        words="",
    )
    verdict, words = _levelled(shot, levelled, line)
    later = _later(check, line)
    if any(outside for _, outside in later) and verdict == "fine":
        verdict = "told"
    words = " ".join([words, *(said for said, _ in later)])
    return msgspec.structs.replace(check, verdict=verdict, words=words)


def turned(to: float, start: float) -> float:
    """Degrees from one angle to another, −180..180."""
    return (to - start + 180.0) % 360.0 - 180.0


def outside(angle: float, line: SkinLine) -> bool:
    """Whether an angle lies outside the band of a skin line."""
    return not line.low <= angle <= line.high


def _levelled(shot: SkinReading, levelled: SkinReading, line: SkinLine) -> tuple[SkinVerdict, str]:
    if levelled.angle is None:
        return "told", "Skin is nearly grey after levelling: it has no hue to check."
    off = turned(levelled.angle, line.angle)
    place = f"Skin lies at {levelled.angle:.0f}° after levelling"
    beyond = outside(levelled.angle, line)
    band = f"outside {line.low:.0f}° to {line.high:.0f}°"
    if shot.angle is None:
        told = f"{place}, {_apart(off)}; as shot it was nearly grey."
        return ("told" if beyond else "fine"), told
    turn = turned(levelled.angle, shot.angle)
    away = abs(off) - abs(turned(shot.angle, line.angle))
    if not beyond:
        return "fine", f"{place}, {_apart(off)}; levelling {_turn(turn)}."
    if away > MOST_TURN:
        return "warn", (
            f"{place}, {band}, and levelling turned it {away:.0f}° away from the skin line, "
            f"{_side(off)}: look at the white of this clip."
        )
    return "told", (
        f"{place}, {band}, {_apart(off)}; as shot it lay at {shot.angle:.0f}°. The light may be "
        "meant so: nothing was done about it."
    )


def _later(check: SkinCheck, line: SkinLine) -> list[tuple[str, bool]]:
    """What came after levelling: (words, whether it took skin out of the band)."""
    said = []
    before = check.levelled
    steps = (("The adjustment by hand", check.adjusted), ("The look", check.looked))
    for name, after in steps:
        if after is not None:
            said.append(_step(name, before, after, line))
            before = after
    return said


def _step(name: str, before: SkinReading, after: SkinReading, line: SkinLine) -> tuple[str, bool]:
    if before.angle is None:
        return f"{name} found no hue in skin to turn.", False
    if after.angle is None:
        return f"{name} takes the hue out of skin.", False
    turn = turned(after.angle, before.angle)
    if abs(turn) < LOOK_TURN:
        return f"{name} leaves its hue ({turn:+.0f}°).".replace("-", "−"), False
    left = outside(after.angle, line) and not outside(before.angle, line)
    to = f", out of the band to {after.angle:.0f}°" if left else f", to {after.angle:.0f}°"
    return f"{name} turns skin by {turn:+.0f}°, {_side(turn)}{to}.".replace("-", "−"), left


def _apart(off: float) -> str:
    return "on the skin line" if abs(off) < 1.0 else f"{abs(off):.0f}° from the skin line"


def _turn(turn: float) -> str:
    if abs(turn) < 0.5:
        return "left it there"
    return f"turned it by {turn:+.0f}°".replace("-", "−")


def _side(turn: float) -> str:
    """Larger angles are yellower skin, smaller ones redder: on both matrices."""
    if abs(turn) > 90.0:
        return "to the other side"
    return "towards yellow" if turn > 0 else "towards red"


def compare(a: SkinCheck, b: SkinCheck) -> SkinPair | None:
    """One person in two clips; only where a person pointed at both. None where hue is missing."""
    if "face" in (a.by, b.by) or a.encoding != b.encoding:
        return None
    first, second = a.levelled.angle, b.levelled.angle
    if first is None or second is None:
        return None
    turn = turned(second, first)
    stops = _stops(b) - _stops(a)
    far = abs(turn) > MOST_TURN or abs(stops) > PAIR_STOPS
    words = (
        f"The skin pointed at in {b.clip} lies {turn:+.0f}° and {stops:+.2f} stop from that in "
        f"{a.clip}, both levelled"
    ).replace("-", "−")
    end = ": if it is one person, the two clips do not match." if far else "."
    return SkinPair(a.clip, b.clip, turn, stops, "warn" if far else "fine", words + end)


def _stops(check: SkinCheck) -> float:
    return sorted(p.stops[1] for p in check.places)[len(check.places) // 2]

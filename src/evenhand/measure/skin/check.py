"""What the hue of skin says about a clip's levelling and look, as a record of codes and figures.

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
from evenhand.measure.skin.reading import SkinPlace, SkinReading, Stage, middle
from evenhand.reasons import Reason, Why, because

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
    why: Why


class SkinPair(msgspec.Struct, frozen=True):
    """One person in two clips, pointed at in both: b against a, both levelled.

    turn: degrees; stops: scene light.
    """

    a: str
    b: str
    turn: float
    stops: float
    verdict: SkinVerdict
    why: Why


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
        why=(),
    )
    verdict, first = _levelled(shot, levelled, line)
    later = _later(check, line)
    if any(outside for _, outside in later) and verdict == "fine":
        verdict = "told"
    why = (first, *(told for told, _ in later))
    return msgspec.structs.replace(check, verdict=verdict, why=why)


def turned(to: float, start: float) -> float:
    """Degrees from one angle to another, −180..180."""
    return (to - start + 180.0) % 360.0 - 180.0


def outside(angle: float, line: SkinLine) -> bool:
    """Whether an angle lies outside the band of a skin line."""
    return not line.low <= angle <= line.high


def _levelled(
    shot: SkinReading, levelled: SkinReading, line: SkinLine
) -> tuple[SkinVerdict, Reason]:
    angle = levelled.angle
    if angle is None:
        return "told", because("skin.grey")
    off = turned(angle, line.angle)
    beyond = outside(angle, line)
    if shot.angle is None:
        told = because("skin.grey-as-shot", angle=angle, off=off)
        return ("told" if beyond else "fine"), told
    if not beyond:
        turn = turned(angle, shot.angle)
        return "fine", because("skin.inside", angle=angle, off=off, turn=turn)
    away = abs(off) - abs(turned(shot.angle, line.angle))
    band = {"angle": angle, "low": line.low, "high": line.high, "off": off}
    if away > MOST_TURN:
        return "warn", because("skin.turned-away", **band, away=away)
    return "told", because("skin.shot-outside", **band, shot=shot.angle)


def _later(check: SkinCheck, line: SkinLine) -> list[tuple[Reason, bool]]:
    """What came after levelling: (what it did, whether it took skin out of the band)."""
    said = []
    before = check.levelled
    steps: tuple[tuple[Stage, SkinReading | None], ...] = (
        ("adjusted", check.adjusted),
        ("looked", check.looked),
    )
    for stage, after in steps:
        if after is not None:
            said.append(_step(stage, before, after, line))
            before = after
    return said


def _step(
    stage: Stage, before: SkinReading, after: SkinReading, line: SkinLine
) -> tuple[Reason, bool]:
    if before.angle is None:
        return because("skin.step-no-hue", stage=stage), False
    if after.angle is None:
        return because("skin.step-takes-hue", stage=stage), False
    turn = turned(after.angle, before.angle)
    if abs(turn) < LOOK_TURN:
        return because("skin.step-leaves", stage=stage, turn=turn), False
    left = outside(after.angle, line) and not outside(before.angle, line)
    return because("skin.step-turns", stage=stage, turn=turn, angle=after.angle, left=left), left


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
    of: dict[str, str | float] = {"a": a.clip, "b": b.clip, "turn": turn, "stops": stops}
    why = because("skin.pair-differs" if far else "skin.pair-agrees", **of)
    return SkinPair(a.clip, b.clip, turn, stops, "warn" if far else "fine", (why,))


def _stops(check: SkinCheck) -> float:
    return sorted(p.stops[1] for p in check.places)[len(check.places) // 2]

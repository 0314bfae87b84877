"""The skin check of a clip: faces in a few of its frames, or the places that a person points at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Final

import cv2
import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.errors import UsageError
from evenhand.grade.document import Adjustment, Grade
from evenhand.grade.exact import FindLook, exact_transform
from evenhand.jobs.hands import hands
from evenhand.jobs.looks import ShootLooks
from evenhand.jobs.originals import original_and_facts
from evenhand.measure.skin.check import SkinCheck, SkinPair, check_skin, compare
from evenhand.measure.skin.reading import SkinPlace, face_patch, point_patch, read_place
from evenhand.media.analysis import frame_on_screen, seconds_of, shot_and_steadied
from evenhand.media.decode import sample
from evenhand.media.faces import FaceFinder, face_finder
from evenhand.media.records import ClipFacts
from evenhand.reasons import Reason, Why, because
from evenhand.shoot import store
from evenhand.shoot.document import Shoot

Signal = NDArray[np.float32]

SHARES: Final = (0.1, 0.3, 0.5, 0.7, 0.9)  # of a clip's length: where faces are looked for
READ_LONGEST: Final = 960  # pixels of the longer side of the frames that skin is read from
SEEN_LONGEST: Final = 400  # and of those that the face model looks at: it sees 192 at a time


@dataclass(frozen=True, slots=True)
class SkinPoint:
    """Where skin is: seconds from the first frame, fractions of the upright picture."""

    clip: str
    time: Fraction
    x: float
    y: float


class SkinFinding(msgspec.Struct, frozen=True):
    """The check of one clip, or why there is none."""

    clip: str
    check: SkinCheck | None
    why_none: Why = ()


class SkinResult(msgspec.Struct, frozen=True):
    """What the places that a person pointed at say; pairs are clips of one place."""

    findings: tuple[SkinFinding, ...]
    pairs: tuple[SkinPair, ...]


def skin_of_points(folder: Path, points: Sequence[SkinPoint]) -> SkinResult:
    """Check the skin that a person pointed at, by the grades that the shoot holds now.

    Clips of one place that were both pointed at are compared as well. UsageError for clips that do
    not exist and places outside the picture or the clip.
    """
    shoot = store.load(folder)
    wanted: dict[str, list[SkinPoint]] = {}
    for point in points:
        wanted.setdefault(shoot.clip(point.clip).id, []).append(point)
    looks = ShootLooks(folder, shoot)
    findings = []
    with hands() as pool:
        for clip, places in wanted.items():
            entry = shoot.clip(clip)
            path, facts = original_and_facts(folder, shoot, entry)
            arguments = (path, facts, shoot.grade(entry), places, clip, looks)
            findings.append(pool.call(str(path), pointed_skin, *arguments))
    return SkinResult(tuple(findings), _pairs(shoot, findings))


def pointed_skin(
    path: Path,
    facts: ClipFacts,
    grade: Grade,
    points: Sequence[SkinPoint],
    clip: str,
    looks: FindLook | None = None,
) -> SkinFinding:
    """The check of one clip at the places that a person pointed at."""
    found = []
    for point in points:
        _inside(point, facts)
        frame = frame_on_screen(path, facts, point.time)
        pictures = shot_and_steadied(
            frame, facts, grade.encoding, READ_LONGEST, grade.levelling.steadying
        )
        patch = point_patch(point.x, point.y, _size(pictures[0]))
        place = read_place(pictures, patch, grade, seconds_of(frame, facts), looks)
        found += [place] if place is not None else []
    if not found:
        return SkinFinding(clip, None, (because("skin.point-unread"),))
    return SkinFinding(clip, check_skin(clip, "person", found, grade))


def faces_skin(
    path: Path, facts: ClipFacts, grade: Grade, clip: str, looks: FindLook | None = None
) -> SkinFinding:
    """The check of one clip at the faces that are found in a few of its frames."""
    finder = _finder()
    if isinstance(finder, Reason):
        return SkinFinding(clip, None, faces_missing())
    places: list[SkinPlace] = []
    faces = 0
    for frame in sample(path, facts, SHARES):
        pictures = shot_and_steadied(
            frame, facts, grade.encoding, READ_LONGEST, grade.levelling.steadying
        )
        seen = finder(seen_picture(pictures[1], grade))
        faces += len(seen)
        for face in seen:
            patch = face_patch(face, _size(pictures[0]))
            if patch is not None:
                place = read_place(pictures, patch, grade, seconds_of(frame, facts), looks)
                places += [place] if place is not None else []
    if places:
        return SkinFinding(clip, check_skin(clip, "face", places, grade))
    if faces:
        return SkinFinding(clip, None, (because("skin.faces-unread"),))
    return SkinFinding(clip, None, (because("skin.no-face", frames=len(SHARES)),))


def faces_missing() -> Why:
    """Why faces cannot be looked for; empty where they can."""
    finder = _finder()
    return (finder,) if isinstance(finder, Reason) else ()


def seen_picture(signal: Signal, grade: Grade) -> Signal:
    """A small display picture of a frame for the face model: levelled, and rendered plainly."""
    height, width = signal.shape[:2]
    scale = min(1.0, SEEN_LONGEST / max(height, width))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = cv2.resize(signal, size, interpolation=cv2.INTER_AREA)
    plain = msgspec.structs.replace(
        grade, output_transform="plain-sdr", look=None, adjustment=Adjustment()
    )
    return np.asarray(exact_transform(plain)(small), np.float32)


@cache
def _finder() -> FaceFinder | Reason:
    return face_finder()


def _size(signal: Signal) -> tuple[int, int]:
    return signal.shape[1], signal.shape[0]


def _inside(point: SkinPoint, facts: ClipFacts) -> None:
    if not (0 <= point.x <= 1 and 0 <= point.y <= 1):
        raise UsageError(
            "--skin",
            f"{point.x:g},{point.y:g} is outside the picture",
            "Write fractions of width and height from the top left, such as 0.45,0.30",
        )
    if not 0 <= point.time <= Fraction(facts.duration).limit_denominator(10**6):
        raise UsageError(
            f"{point.clip} at {float(point.time):.3f} s",
            f"the clip is {facts.duration:.3f} s long",
            "Choose an earlier time",
        )


def _pairs(shoot: Shoot, findings: Sequence[SkinFinding]) -> tuple[SkinPair, ...]:
    """Comparisons of clips that share a place: elsewhere light itself may differ."""
    checks = [f.check for f in findings if f.check is not None]
    pairs = []
    for a, b in combinations(checks, 2):
        place = shoot.place_of(a.clip)
        if place is not None and b.clip in place.clips:
            pairs.append(compare(a, b))
    return tuple(pair for pair in pairs if pair is not None)

"""One frame of a clip, before and after: as a 16-bit still, or as scopes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.atomic import write_whole
from evenhand.drawing.scopes import draw_histogram, draw_parade, draw_vectorscope, draw_waveform
from evenhand.drawing.scopes import scope_png as drawn_png
from evenhand.errors import UsageError
from evenhand.grade.document import Grade
from evenhand.grade.effects import effects_in, with_effects
from evenhand.grade.exact import FindLook, exact_transform
from evenhand.grade.output_transforms import output_encoding
from evenhand.jobs.hands import hands
from evenhand.jobs.looks import ShootLooks
from evenhand.jobs.originals import original_and_facts
from evenhand.measure.graticule import skin_line
from evenhand.measure.scopes import ScopeNumbers, measure_scopes
from evenhand.media.analysis import frame_on_screen, shot_and_steadied
from evenhand.media.pipeline import frame_place
from evenhand.media.records import ClipFacts
from evenhand.media.still import write_still
from evenhand.media.target import check_target, made_folder
from evenhand.shoot import store

Which = Literal["before", "after", "both"]
Timed = Callable[[Fraction], Fraction]
"""From a clip's rate to seconds after its first frame: a time may be written in frames."""


class Shown(msgspec.Struct, frozen=True):
    """A still that was written."""

    clip: str
    seconds: float
    path: str
    width: int
    height: int


class ScopeReading(msgspec.Struct, frozen=True):
    """Scopes of one frame before and after, as numbers, and the pictures that were written."""

    clip: str
    seconds: float
    before: ScopeNumbers
    after: ScopeNumbers
    pictures: tuple[str, ...]


def still(
    folder: Path, name: str, at: Timed, to: Path, which: Which = "after", overwrite: bool = False
) -> Shown:
    """Write a still of a clip: its code values as shot, its grade by the exact transform, or both.

    Raises UsageError for a time outside the clip, TargetError where the place cannot take it.
    """
    check_target(to, overwrite=overwrite)
    frame = clip_frame(folder, name, at)
    picture: NDArray[np.floating] = np.clip(frame.shot, 0, 1)
    kind = "bt709"
    if which != "before":
        after, kind = _graded(frame), frame.output
        picture = np.concatenate([picture, after], axis=1) if which == "both" else after
    write_still(to, picture, _master_encoding(kind), overwrite=overwrite)
    return Shown(frame.clip, float(frame.seconds), str(to), picture.shape[1], picture.shape[0])


def scopes(folder: Path, name: str, at: Timed, to: Path | None = None) -> ScopeReading:
    """Measure the scopes of one frame before and after; draw them as PNG files into `to`."""
    if to is not None:
        made_folder(to)
    frame = clip_frame(folder, name, at)
    shot, output = frame.grade.encoding, output_encoding(frame.grade.output_transform)
    after = _graded(frame).astype(np.float32)
    measured = {
        "before": measure_scopes(frame.shot, shot.matrix if shot.matrix != "rgb" else "bt709"),
        "after": measure_scopes(after, output.matrix),
    }
    lines = {"before": skin_line(shot), "after": skin_line(output)}
    written = []
    for when, found in measured.items() if to is not None else ():
        assert to is not None
        drawings = {
            "waveform": draw_waveform(found),
            "parade": draw_parade(found),
            "histogram": draw_histogram(found),
            "vectorscope": draw_vectorscope(found, lines[when]),
        }
        for kind, pixels in drawings.items():
            target = to / f"{frame.clip.replace('/', '_')}.{kind}.{when}.png"
            write_whole(target, drawn_png(pixels))
            written.append(str(target))
    return ScopeReading(
        frame.clip,
        float(frame.seconds),
        measured["before"].numbers,
        measured["after"].numbers,
        tuple(written),
    )


def _graded(frame: ClipFrame) -> NDArray[np.floating]:
    """The frame by the exact transform, with the effects of its look where they are asked for."""
    signal = exact_transform(frame.grade, frame.looks)(frame.steady)
    return with_effects(signal, effects_in(frame.grade, frame.looks), frame.place)


@dataclass(frozen=True, slots=True)
class ClipFrame:
    """A frame as shot and steadied, and the grade of its clip."""

    clip: str
    seconds: Fraction
    shot: NDArray[np.float32]
    steady: NDArray[np.float32]
    grade: Grade
    looks: FindLook
    place: int

    @property
    def output(self) -> str:
        return output_encoding(self.grade.output_transform).name


def clip_frame(folder: Path, name: str, at: Timed) -> ClipFrame:
    """Decode one frame of a clip. Raises UsageError for a time outside it."""
    shoot = store.load(folder)
    clip = shoot.clip(name)
    grade = shoot.grade(clip)
    path, facts = original_and_facts(folder, shoot, clip)
    seconds = at(Fraction(facts.rate))
    _inside(clip.id, seconds, facts)
    with hands(1) as pool:
        place, shot, steady = pool.call(str(path), decoded, path, facts, seconds, grade)
    return ClipFrame(clip.id, seconds, shot, steady, grade, ShootLooks(folder, shoot), place)


def decoded(
    path: Path, facts: ClipFacts, seconds: Fraction, grade: Grade
) -> tuple[int, NDArray[np.float32], NDArray[np.float32]]:
    """The number of the frame on screen, its signal as shot and with its drift levelled."""
    frame = frame_on_screen(path, facts, seconds)
    steadying = grade.levelling.steadying
    shot, steady = shot_and_steadied(frame, facts, grade.encoding, None, steadying)
    return frame_place(frame, facts), shot, steady


def _inside(clip: str, seconds: Fraction, facts: ClipFacts) -> None:
    if seconds > Fraction(facts.duration).limit_denominator(10**6):
        raise UsageError(
            f"{clip} at {float(seconds):.3f} s",
            f"the clip is {facts.duration:.3f} s long",
            "Choose an earlier time",
        )


def _master_encoding(name: str) -> Literal["bt709", "hlg", "pq"]:
    return "hlg" if name == "hlg" else "pq" if name == "pq" else "bt709"

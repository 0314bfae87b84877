"""From a clip to a master's pictures: decode, grade and encode in overlapping threads.

Memory is bounded by the short lines between the stages, whatever the length of the clip.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from evenhand.colourmath.encodings import Encoding
from evenhand.colourmath.ycbcr import MATRICES, to_codes
from evenhand.errors import ClipError
from evenhand.grade.document import Steadying
from evenhand.grade.effects import NO_EFFECTS, Effects, with_effects
from evenhand.grade.steadying import moves_of, row_fractions
from evenhand.kernels.frame import PlaneFormat, Planes
from evenhand.kernels.grade import grade_planes
from evenhand.kernels.planes import convert_planes, planes_to_signal
from evenhand.kernels.table import KernelTable, SteadyMoves
from evenhand.measure.timing import ConformPlan
from evenhand.media.analysis import seconds_of
from evenhand.media.decode import DecodedFrame, Frames
from evenhand.media.encode import MasterWriter
from evenhand.media.orientation import upright
from evenhand.media.pixels import Plane
from evenhand.media.records import ClipFacts
from evenhand.media.stages import Line, Stages
from evenhand.reasons import Why
from evenhand.wording.saying import said

DEPTH: Final = 2  # decoded pictures that wait to be graded
THREADS: Final = 2
# The picture between grading and the geometry: chroma at every pixel, and room to resample.
_BETWEEN: Final = PlaneFormat(16, 1, 1)


@dataclass(frozen=True, slots=True)
class Grading:
    """What is done to every picture of a clip: its coding, the compiled grade, the target size.

    `steadying` is undone before the grade, for each frame by its presentation time; `effects` come
    after it, on a BT.709 picture of the target's size.
    """

    clip: Path
    facts: ClipFacts
    encoding: Encoding
    table: KernelTable
    target: PlaneFormat
    width: int
    height: int
    steadying: Steadying | None = None
    effects: Effects = NO_EFFECTS

    @property
    def straight(self) -> bool:
        """Whether the picture goes through as it lies, without turning or scaling."""
        facts = self.facts
        size = (facts.width - self.width, facts.height - self.height)
        square = Fraction(facts.pixel_aspect) == 1
        return square and not facts.rotation and not facts.mirrored and size in _CROPS

    def moves(self, frame: DecodedFrame, height: int) -> SteadyMoves | None:
        """How the first `height` stored rows of a frame are steadied."""
        rows = row_fractions(frame.planes[0].shape[0])[:height]
        return moves_of(self.steadying, self.encoding, seconds_of(frame, self.facts), rows)


_CROPS: Final = ((0, 0), (1, 0), (0, 1), (1, 1))


def graded(
    grading: Grading, frame: DecodedFrame, number: int, blank: Callable[[], Planes]
) -> Planes:
    """One picture of the master in planes from `blank`, which have the target's format and size.

    `number` seeds the dither, so that the same frame always comes out the same.
    """
    source = PlaneFormat(frame.bits, frame.sub_x, frame.sub_y, grading.encoding.range == "full")
    kr_kb = MATRICES[grading.encoding.matrix]
    dither = grading.target.bits < frame.bits
    if grading.straight and grading.effects.are_none:
        planes = _cropped(frame, grading.width, grading.height)
        out = blank()
        grade_planes(
            planes, source, kr_kb, grading.table, out, grading.target,
            moves=grading.moves(frame, grading.height), dither=dither, frame=number,
            threads=THREADS,
        )  # fmt: skip
        return out
    height, width = frame.planes[0].shape
    between = _BETWEEN.empty(height, width)
    grade_planes(
        frame.planes, source, kr_kb, grading.table, between, _BETWEEN,
        moves=grading.moves(frame, height), threads=THREADS,
    )  # fmt: skip
    y, u, v = (_placed(plane, grading) for plane in between)
    if not grading.effects.are_none:
        y, u, v = _with_effects((y, u, v), grading, frame)
    out = blank()
    convert_planes(
        (y, u, v), _BETWEEN, out, grading.target, dither=dither, frame=number, threads=THREADS
    )
    return out


def frame_place(frame: DecodedFrame, facts: ClipFacts) -> int:
    """Which of the clip's frames this is, from 0: what its grain is made from."""
    return bisect_left(facts.times, frame.pts)


def _with_effects(planes: Planes, grading: Grading, frame: DecodedFrame) -> Planes:
    """A picture between grading and encoder with the look's effects: BT.709, 16 bits."""
    signal = planes_to_signal(planes, _BETWEEN, MATRICES["bt709"], threads=THREADS)
    done = with_effects(signal, grading.effects, frame_place(frame, grading.facts))
    codes = np.rint(to_codes(done, _BETWEEN.bits, "bt709", "narrow")).astype(np.uint16)
    y, u, v = (np.ascontiguousarray(codes[..., channel]) for channel in range(3))
    return y, u, v


def _cropped(frame: DecodedFrame, width: int, height: int) -> Planes:
    across, down = -(-width // frame.sub_x), -(-height // frame.sub_y)
    y, u, v = frame.planes
    return y[:height, :width], u[:down, :across], v[:down, :across]


def _placed(plane: Plane, grading: Grading) -> Plane:
    """A full-size plane, upright and scaled to the target."""
    facts = grading.facts
    turned = np.ascontiguousarray(upright(plane, facts.rotation, facts.mirrored))
    height, width = turned.shape
    if (width - grading.width, height - grading.height) in _CROPS:
        return np.ascontiguousarray(turned[: grading.height, : grading.width])
    smaller = width * height > grading.width * grading.height
    how = cv2.INTER_AREA if smaller else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(turned, (grading.width, grading.height), interpolation=how))


@dataclass(slots=True)
class Written:
    """What became of a clip: frames lost to damage, and what the decoder said."""

    lost: int = 0
    damage: Why = ()


def write_pictures(
    grading: Grading,
    plan: ConformPlan,
    writer: MasterWriter,
    *,
    allow_damaged: bool = False,
    progress: Callable[[int], None] = lambda _done: None,
) -> Written:
    """Send every frame of the plan through grade and encoder.

    Raises ClipError where a frame cannot be decoded, unless `allow_damaged`: its neighbour is then
    shown in its place, and counted in `lost`. Whatever is raised in a stage is raised here.
    """
    written = Written()
    with Stages() as stages:
        decoded: Line[tuple[DecodedFrame, int]] = stages.line(DEPTH)
        finished: Line[tuple[Planes, int]] = stages.line(1)  # the encoder has a queue of its own

        def decode() -> None:
            with Frames(grading.clip) as frames:
                for frame, shown in _wanted(frames, grading.facts, plan, written):
                    decoded.put((frame, shown))
                written.damage = frames.damage
            if written.lost and not allow_damaged:
                raise _damaged(grading, written)
            decoded.close()

        def grade() -> None:
            number = 0
            for frame, shown in decoded:
                finished.put((graded(grading, frame, number, writer.blank), shown))
                number += shown
            finished.close()

        stages.start(decode, "decode")
        stages.start(grade, "grade")
        for planes, shown in finished:
            for _ in range(shown):
                writer.write(*planes)
                progress(writer.written)
    return written


def _wanted(
    frames: Iterator[DecodedFrame], facts: ClipFacts, plan: ConformPlan, written: Written
) -> Iterator[tuple[DecodedFrame, int]]:
    """Each frame that is shown, with how often; a neighbour stands in for one that is missing."""
    uses = plan.uses(len(facts.times))
    due = [(pts, int(n)) for pts, n in zip(facts.times, uses, strict=True) if n]
    place = shown = 0
    held: DecodedFrame | None = None  # kept back, in case those after it are missing
    for frame in frames:
        missed = 0
        while place < len(due) and due[place][0] < frame.pts:
            missed += due[place][1]
            written.lost += 1
            place += 1
        if held is not None:
            shown, missed = shown + missed, 0
        meant = place < len(due) and due[place][0] == frame.pts
        if not meant and not missed:
            continue
        if held is not None:
            yield held, shown
        held, shown = frame, missed + (due[place][1] if meant else 0)
        place += meant
    written.lost += len(due) - place
    if held is not None:
        yield held, shown + sum(times for _, times in due[place:])


def _damaged(grading: Grading, written: Written) -> ClipError:
    why = said(grading.facts.damage + written.damage) or "some frames do not decode"
    return ClipError(
        grading.clip,
        f"{written.lost} of {grading.facts.frames} frames are missing ({why})",
        "Copy it again from the card, or master what is there with --allow-damaged",
    )

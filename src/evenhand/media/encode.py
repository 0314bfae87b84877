"""Writes masters: pictures and sound in, a verified file under its final name out, or nothing."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any

import av
import numpy as np

from evenhand.atomic import clear_leftovers, partial_name, refused, settle, sync
from evenhand.errors import MasterRejectedError, UsageError
from evenhand.measure.quality import Plane, thumbnail
from evenhand.media.marks import KEY, MasterMark
from evenhand.media.memory import give_back_large_blocks
from evenhand.media.pixels import Planes, planes_of
from evenhand.media.records import ColourTags
from evenhand.media.samples import RATE, sample_count
from evenhand.media.sound import (
    CopiedTrack,
    EncodedTrack,
    SoundPlan,
    SoundTrack,
    longest_overrun,
    sound_writer,
)
from evenhand.media.spec import MasterSpec, PicturePlan
from evenhand.media.target import check_target
from evenhand.media.verify import (
    MasterExpectation,
    SoundExpectation,
    Verification,
    verify_master,
)

_ENCODERS = {"hevc": "libx265", "prores": "prores", "h264": "libx264"}
_COMPARED = 3  # frames that are kept whole to be compared; one of UHD takes up to 33 MB
_ROOM = 1.1  # of the estimate
_PCM_BYTES = 3
_FEW_FRAMES = 8
_NO_TYPE = 0  # the encoder chooses which frames are key frames


@dataclass(frozen=True, slots=True)
class MasterOrder:
    """One master to be made.

    `frames` is how many will be written. `timecode` ("10:00:00:00") and `created` (ISO 8601, UTC)
    go into the container, and `mark`, by which the master is known again; nothing else of the
    clip's metadata does, places least of all.
    """

    spec: MasterSpec
    plan: PicturePlan
    frames: int
    quality: str | None = None
    sound: SoundPlan | None = None
    timecode: str | None = None
    created: str | None = None
    mark: MasterMark | None = None

    @property
    def duration(self) -> Fraction:
        """Length of the picture in seconds."""
        return self.frames / self.spec.frame_rate

    @property
    def compared(self) -> tuple[int, ...]:
        """The numbers of the frames that are compared whole: the first, the last, one between."""
        last = max(self.frames - 1, 0)
        return tuple(sorted({last * n // (_COMPARED - 1) for n in range(_COMPARED)}))

    def expectation(self) -> MasterExpectation:
        """Return what the file must turn out to be."""
        spec, plan, level = self.spec, self.plan, self.spec.level(self.quality)
        count = sample_count(self.duration)
        tracks = () if self.sound is None else self.sound.expected
        return MasterExpectation(
            codec=spec.codec,
            codec_tag=spec.codec_tag,
            profile=spec.profile,
            pixel_format=spec.pixel_format,
            bits=spec.bits,
            width=plan.width,
            height=plan.height,
            rate=spec.rate,
            frames=self.frames,
            tags=spec.tags,
            faststart=spec.faststart,
            psnr_luma=level.psnr_luma,
            psnr_chroma=level.psnr_chroma,
            sound=tuple(
                SoundExpectation(codec, RATE, channels, count, longest_overrun(codec))
                for codec, channels in tracks
            ),
            timecode=self.timecode,
            mark=self.mark,
        )


def room_needed(order: MasterOrder) -> int:
    """Return the bytes to have free before starting: a generous estimate and a tenth."""
    level = order.spec.level(order.quality)
    picture = level.bits_per_pixel * order.plan.width * order.plan.height * order.frames / 8
    sound = 0.0
    for track in order.sound.tracks if order.sound is not None else ():
        coded = order.spec.sound.bit_rate / 8
        each = coded if order.spec.sound.codec == "aac" else track.channels * RATE * _PCM_BYTES
        sound += float(order.duration) * each
    return int(_ROOM * (picture + sound))


class MasterWriter:
    """Writes one master, in a `with` block; whole and verified at its end, or not there at all.

    Leaving the block without an error closes the file, syncs it, reads it again, compares it with
    what was meant and only then gives it its name; `verification` and `sound_tracks` are then set.
    `verifying` is told how many frames have been read again. Leaving by an exception removes the
    partial file. Raises TargetError (the place cannot take it),
    UsageError (the encoder refuses the spec's settings) and MasterRejectedError (what was written
    is not what was meant; nothing is left under the final name).
    """

    def __init__(
        self,
        target: Path,
        order: MasterOrder,
        *,
        overwrite: bool = False,
        verifying: Callable[[int], None] | None = None,
    ) -> None:
        self.target = target
        self.order = order
        self.verification: Verification | None = None
        self.sound_tracks: tuple[SoundTrack, ...] = ()
        self._level = order.spec.level(order.quality)
        self._compared = frozenset(order.compared)
        self._samples: dict[int, Planes] = {}
        self._thumbnails: list[Any] = []
        self._blanks: dict[int, tuple[Any, Planes]] = {}
        self._used: deque[Any] = deque()  # frames to fill again: new memory costs time
        self._sound: list[CopiedTrack | EncodedTrack] = []
        self._out: Any = None
        self._overwrite = overwrite
        self._verifying = verifying
        self._partial = partial_name(target)

    @property
    def written(self) -> int:
        """How many frames have been given to the encoder."""
        return len(self._thumbnails)

    def __enter__(self) -> MasterWriter:
        check_target(self.target, overwrite=self._overwrite, needs=room_needed(self.order))
        clear_leftovers(self.target)  # of runs that were killed
        try:
            self._open()
        except BaseException as error:
            self._give_up()
            if isinstance(error, av.error.ArgumentError):
                raise UsageError(
                    self.order.spec.name,
                    f"the encoder refuses these settings ({error})",
                    "Correct the spec; docs/masters.md lists what each key takes",
                ) from error
            raise self._plainly(error) from error
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if error is not None:
            self._give_up()
            return
        try:
            self._close()
            sync(self._partial)
            self._verify()
            check_target(self.target, overwrite=self._overwrite)
            settle(self._partial, self.target)
        except BaseException as failure:
            self._give_up()
            raise self._plainly(failure) from failure

    def blank(self) -> Planes:
        """Return the planes of a new frame to fill and then pass to `write`, which saves a copy.

        May be called from another thread, and ahead of `write`.
        """
        plan, spec = self.order.plan, self.order.spec
        try:
            frame = self._used.popleft()
            frame.make_writable()  # new memory, if the encoder still reads the old
        except IndexError:
            frame = av.VideoFrame(plan.width, plan.height, spec.pixel_format)
        planes = planes_of(frame)
        self._blanks[id(planes[0])] = (frame, planes)
        return planes

    def write(self, y: Plane, u: Plane, v: Plane) -> None:
        """Encode the next frame: planes of codes in the spec's pixel format and the plan's size.

        Raises TargetError when the drive is full or gone, ValueError for planes of another shape.
        """
        if id(y) not in self._blanks:
            given, (y, u, v) = (y, u, v), self.blank()
            for blank, plane in zip((y, u, v), given, strict=True):
                if blank.shape != plane.shape or blank.dtype != plane.dtype:
                    raise ValueError(
                        f"a plane is {plane.dtype} {plane.shape}, expected {blank.dtype} "
                        f"{blank.shape}"
                    )
                blank[:] = plane
        frame, (y, u, v) = self._blanks.pop(id(y))
        index = self.written
        if index in self._compared:
            self._samples[index] = (y.copy(), u.copy(), v.copy())
        self._thumbnails.append(thumbnail(y))
        self._label(frame, index)
        try:
            self._out.mux(self._stream.encode(frame))
            self._used.append(frame)
            self._advance_sound(Fraction(index + 1) / self.order.spec.frame_rate)
        except (OSError, av.error.FFmpegError) as error:
            raise self._plainly(error) from error

    def _open(self) -> None:
        give_back_large_blocks()
        spec, plan = self.order.spec, self.order.plan
        flags = {"movflags": "+faststart"} if spec.faststart else {}
        path = f"file:{self._partial.absolute()}"
        self._out = av.open(path, "w", spec.container, container_options=flags)
        if self.order.created:
            self._out.metadata["creation_time"] = self.order.created
        if self.order.timecode:
            self._out.metadata["timecode"] = self.order.timecode
        if self.order.mark is not None:
            self._out.metadata[KEY] = self.order.mark.text
        self._stream = self._out.add_stream(
            _ENCODERS[spec.codec], rate=spec.frame_rate, options=dict(self._level.encoder)
        )
        self._stream.width, self._stream.height = plan.width, plan.height
        self._stream.pix_fmt = spec.pixel_format
        context = self._stream.codec_context
        context.codec_tag = spec.codec_tag
        context.gop_size = max(1, round(spec.key_every * spec.frame_rate))
        if self.order.frames < _FEW_FRAMES:
            # x265 reads decode times it never set where a film is shorter than its reordering.
            context.max_b_frames = 0
        if spec.codec != "hevc":  # x265 makes its own threads; the others are left at one
            self._stream.thread_type, context.thread_count = "AUTO", 0
        _set_tags(context, spec.tags)
        if self.order.sound is not None:
            for track in self.order.sound.tracks:
                self._sound.append(sound_writer(self.order.sound, track, self._out))
        self._out.start_encoding()
        # What an encoder did not take is left in its options, and is otherwise passed over.
        if context.options:
            unknown = ", ".join(context.options)
            raise UsageError(
                spec.name, f"the encoder knows no setting {unknown}", "Correct the spec"
            )

    def _label(self, frame: Any, index: int) -> None:
        # ProRes takes the tags of the container from its context and its own from the frames.
        _set_tags(frame, self.order.spec.tags)
        frame.pts, frame.time_base = index, 1 / self.order.spec.frame_rate
        frame.pict_type = _NO_TYPE

    def _advance_sound(self, until: Fraction | None) -> None:
        for track in self._sound:
            track.advance(until)

    def _close(self) -> None:
        """Write all that is still in the encoders, and the index."""
        self._out.mux(self._stream.encode(None))
        self._advance_sound(None)
        self._out.close()  # never left to the garbage collector, which drops its errors
        self.sound_tracks = tuple(track.report for track in self._sound)
        for track in self._sound:
            track.close()
        # At UHD the encoder holds a gigabyte: not while the file is read again.
        self._out = self._stream = None
        self._sound = []

    def _give_up(self) -> None:
        """Close what is open, whatever it says, and remove the partial file."""
        for track in self._sound:
            with contextlib.suppress(Exception):
                track.close()
        if self._out is not None:
            with contextlib.suppress(Exception):
                self._out.close()
        with contextlib.suppress(OSError):
            self._partial.unlink(missing_ok=True)

    def _plainly(self, error: BaseException) -> BaseException:
        """Turn what the libraries raise into an error for people."""
        if isinstance(error, OSError):
            return refused(self.target, error)
        if isinstance(error, av.error.FFmpegError):
            return MasterRejectedError(
                self.target, f"the encoder failed ({error})", "Try again; report it if it stays"
            )
        return error

    def _verify(self) -> None:
        thumbnails = np.array(self._thumbnails, np.float32)
        result = verify_master(
            self._partial, self.order.expectation(), self._samples, thumbnails, self._verifying
        )
        self.verification = result
        if not result.ok:
            words = "; ".join(
                f"{check.name}: expected {check.expected}, found {check.found}"
                for check in result.failures
            )
            raise MasterRejectedError(
                self.target,
                f"what was written is not what was meant ({words})",
                "Nothing was kept; make it again, on another drive if it fails again",
            )


def _set_tags(holder: Any, tags: ColourTags) -> None:
    holder.color_primaries, holder.color_trc = tags.primaries, tags.transfer
    holder.colorspace, holder.color_range = tags.matrix, 2 if tags.full_range else 1

"""When each frame of a clip is shown, from its index where that can be proved, else its packets.

Rates in headers are guesses, and packets are many megabytes: so the presentation times are made of
the library's index (edit lists applied, decode order) and the container's own composition offsets,
and compared with the first packets before they are believed.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import av.error
import numpy as np
from av.container import InputContainer
from av.video.stream import VideoStream

from evenhand.media.boxes import VideoTrack

_CHECKED = 12


@dataclass(frozen=True, slots=True)
class FrameTimes:
    """Times of the shown frames in ticks of `base`, rising; `last` is how long the last one lasts.

    `promised` counts the shown frames of the index, `hidden` those an edit list hides.
    """

    shown: tuple[int, ...]
    promised: int
    hidden: int
    last: int
    base: Fraction


def frame_times(
    container: InputContainer, stream: VideoStream, track: VideoTrack, size: int
) -> FrameTimes:
    """Times of the frames that are there: index entries that end behind the file do not count."""
    base = Fraction(stream.time_base or 1)
    entries = list(stream.index_entries)
    places = np.array([e.pos for e in entries], np.int64)
    dts = np.array([e.timestamp for e in entries], np.int64)
    there = places + np.array([e.size for e in entries], np.int64) <= size
    shown = np.array([not e.is_discard for e in entries], bool)
    offsets, lasting = _offsets(track, places)
    shift = None
    if offsets is not None:
        guessed = dict(zip(places.tolist(), (dts + offsets).tolist(), strict=True))
        shift = _shift(container, stream, guessed)
    if shift is None or offsets is None:
        return _by_packets(container, stream, entries_shown=int(shown.sum()), base=base)
    pts = dts + offsets + shift
    keep = shown & there
    order = np.argsort(pts[keep], kind="stable")
    times = pts[keep][order]
    last = int(lasting[keep][order][-1]) if len(times) else 0
    return FrameTimes(
        shown=tuple(times[np.diff(times, prepend=times[:1] - 1) > 0].tolist()),
        promised=int(shown.sum()),
        hidden=int((~shown).sum()),
        last=last if last > 0 else _usual_gap(times),
        base=base,
    )


def _offsets(track: VideoTrack, places: np.ndarray) -> tuple[np.ndarray | None, np.ndarray]:
    """Composition offset and duration of each index entry, found by its place in the file."""
    nothing = np.zeros(0, np.int64)
    if not len(places) or not len(track.sample_places):
        return None, nothing
    order = np.argsort(track.sample_places, kind="stable")
    known = track.sample_places[order]
    at = np.minimum(np.searchsorted(known, places), len(known) - 1)
    if not np.array_equal(known[at], places):
        return None, nothing
    return track.sample_offsets[order][at], track.lasting[order][at]


def _shift(container: InputContainer, stream: VideoStream, guessed: dict[int, int]) -> int | None:
    """What separates our times from the library's in the first packets; None unless one number."""
    shifts = set()
    try:
        for number, packet in enumerate(container.demux(stream)):
            if packet.pts is None or packet.pos is None or number >= _CHECKED:
                break
            if packet.pos not in guessed:
                return None
            shifts.add(packet.pts - guessed[packet.pos])
    except av.error.FFmpegError:
        pass
    container.seek(0, stream=stream)
    return shifts.pop() if len(shifts) == 1 else None


def _by_packets(
    container: InputContainer, stream: VideoStream, *, entries_shown: int, base: Fraction
) -> FrameTimes:
    """Reads every packet: slower, and right for fragmented files and unusual edit lists."""
    times, hidden, lasting = set(), 0, {}
    try:
        for packet in container.demux(stream):
            if packet.pts is None:
                continue
            if packet.is_discard:
                hidden += 1
                continue
            times.add(packet.pts)
            lasting[packet.pts] = packet.duration or 0
    except av.error.FFmpegError:
        pass
    container.seek(0, stream=stream)
    rising = sorted(times)
    last = lasting.get(rising[-1], 0) if rising else 0
    return FrameTimes(
        shown=tuple(rising),
        promised=max(entries_shown, len(rising)),
        hidden=hidden,
        last=last or _usual_gap(np.asarray(rising, np.int64)),
        base=base,
    )


def _usual_gap(times: np.ndarray) -> int:
    return int(np.median(np.diff(times))) if len(times) > 1 else 1

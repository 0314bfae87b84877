"""Tiny masters: specs without a frame size, moving pictures that tell their number, clicks."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import msgspec
import numpy as np
import numpy.typing as npt

from evenhand.media.encode import MasterOrder, MasterWriter
from evenhand.media.sound import SoundPlan
from evenhand.media.spec import MasterSpec, load_spec, plan_picture

WIDTH, HEIGHT = 128, 96
Plane = npt.NDArray[np.uint16]


def spec(name: str = "web-720", **changes: object) -> MasterSpec:
    """A packaged spec that takes any size of picture, at its draft level."""
    changes = {"width": None, "height": None, "default_quality": "draft", **changes}
    return msgspec.structs.replace(load_spec(name), **changes)


def order(
    frames: int, name: str = "web-720", sound: SoundPlan | None = None, **changes: object
) -> MasterOrder:
    """An order for a tiny master."""
    wanted = spec(name, **changes)
    return MasterOrder(wanted, plan_picture(wanted, WIDTH, HEIGHT), frames, sound=sound)


def picture(index: int, wanted: MasterSpec, noise: float = 0.0) -> tuple[Plane, Plane, Plane]:
    """Frame `index`: a ramp with a bright block whose place is the number, in codes of 10 bits."""
    rng = np.random.default_rng(index)
    y = np.tile(np.linspace(100, 500, WIDTH), (HEIGHT, 1))
    column, row = index % 8, index // 8 % 6
    y[row * 16 : row * 16 + 16, column * 16 : column * 16 + 16] = 850
    y = y + rng.normal(0, noise, y.shape)
    rows = HEIGHT // 2 if wanted.chroma == "4:2:0" else HEIGHT
    u = np.tile(np.linspace(400, 600, WIDTH // 2), (rows, 1))
    deep = wanted.bits == 10
    planes = (y, u, 1024 - u)
    kind = np.uint16 if deep else np.uint8
    u8 = tuple(np.clip(plane / (1 if deep else 4), 0, 1023).astype(kind) for plane in planes)
    return u8[0], u8[1], u8[2]


def write(target: Path, wanted: MasterOrder, frames: list[int] | None = None) -> MasterWriter:
    """Write a master of the pictures with these numbers (default: all in order)."""
    with MasterWriter(target, wanted) as writer:
        for index in range(wanted.frames) if frames is None else frames:
            writer.write(*picture(index, wanted.spec))
    return writer


def numbers(path: Path) -> list[int]:
    """Which frame each decoded frame is, read off the place of its bright block."""
    found = []
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            y = frame.to_ndarray(format="gray16le").astype(np.float64)
            blocks = y.reshape(6, 16, 8, 16).mean(axis=(1, 3))
            row, column = np.unravel_index(int(np.argmax(blocks)), blocks.shape)
            found.append(int(row) * 8 + int(column))
    return found


def clip(
    path: Path,
    tracks: list[tuple[str, int, str, npt.NDArray[np.float64], float]],
    frames: int = 50,
    first_frame: float = 0.0,
) -> Path:
    """Write a clip of `frames` numbered H.264 frames at 25 fps and sound tracks.

    A track is (encoder, rate, layout, samples (channels, n), time of its first sample in seconds);
    `first_frame` is the time of the first picture.
    """
    wanted = spec("web-720")
    with av.open(str(path), "w", format="mov") as out:
        video = out.add_stream("libx264", rate=25, options={"preset": "ultrafast", "crf": "12"})
        video.width, video.height, video.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        video.codec_context.max_b_frames = 0
        added = []
        for encoder, rate, layout, _, _ in tracks:
            audio = out.add_stream(encoder, rate=rate)
            audio.layout = layout
            added.append(audio)
        for index in range(frames):
            frame = av.VideoFrame(WIDTH, HEIGHT, "yuv420p")
            for plane, values in zip(frame.planes, picture(index, wanted), strict=True):
                rows = np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)
                rows[:, : plane.width] = values // 4
            frame.time_base = Fraction(1, 1000)
            frame.pts = round((first_frame + index / 25) * 1000)
            out.mux(video.encode(frame))
        out.mux(video.encode(None))
        for audio, (encoder, rate, layout, samples, start) in zip(added, tracks, strict=True):
            _add_sound(out, audio, encoder, rate, layout, samples, start)
    return path


def _add_sound(out, audio, encoder, rate, layout, samples, start):  # type: ignore[no-untyped-def]
    for at in range(0, samples.shape[1], 1024):
        block = samples[:, at : at + 1024]
        if encoder == "pcm_s16le":
            codes = np.rint(block * 32767).astype(np.int16).T.reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(codes), "s16", layout)
        else:
            data = np.ascontiguousarray(block, np.float32)
            frame = av.AudioFrame.from_ndarray(data, "fltp", layout)
        frame.sample_rate = rate
        frame.time_base = Fraction(1, rate)
        frame.pts = round(start * rate) + at
        out.mux(audio.encode(frame))
    out.mux(audio.encode(None))


def sound_of(path: Path, track: int = 0) -> tuple[Fraction, npt.NDArray[np.float64]]:
    """Time of the first sample, and all samples (channels, n), of a track of a file."""
    first, parts = None, []
    with av.open(str(path)) as container:
        for frame in container.decode(audio=track):
            values = frame.to_ndarray().astype(np.float64)
            if not frame.format.is_planar:
                values = values.reshape(-1, len(frame.layout.channels)).T
            if frame.format.name.startswith("s32"):
                values /= 2**31
            parts.append(values)
            first = frame.pts * frame.time_base if first is None else first
    assert first is not None
    return first, np.concatenate(parts, axis=1)


def clicks(
    rate: int, seconds: float, at: list[float], channels: int = 1
) -> npt.NDArray[np.float64]:
    """Silence with a click (one sample at 0.9) at each of these times."""
    samples = np.zeros((channels, round(rate * seconds)))
    for time in at:
        samples[:, round(time * rate)] = 0.9
    return samples

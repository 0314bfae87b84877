"""Writes one clip of the card, with its known faults, and says what they are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
from av.audio.stream import AudioStream
from av.container import OutputContainer
from av.video.stream import VideoStream

from evenhand.colourmath.adaptation import D65
from evenhand.colourmath.encodings import Encoding, named
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.colourmath.white import kelvin_duv, levelling_matrix
from first_bread.camera import OFFSET, VARIANCE, Codes, Sensor, expose, near_depth, noise_tile
from first_bread.life import Canvas
from first_bread.places.shop import GREY_CARD, shop
from first_bread.sound import RATE, location_sound
from first_bread.stills import Still
from first_bread.story import NIGHT, Shot
from first_bread.view import Lens, coded_from_upright, parallax_at, view_at

Array = npt.NDArray[np.float64]
FRAME_RATE = 25
TICKS = 600  # of the video's clock, a second
_TICKS_A_FRAME = TICKS // FRAME_RATE
_SEED_STEP = 7919
_NO_FAULT = np.eye(3)
_LAST_LIGHT = {"bt709": 1.0, "hlg": 3.774118}  # where the encoding ends; the logs end at 12


@dataclass(frozen=True, slots=True)
class Settings:
    """What a whole card is made with."""

    size: tuple[int, int]
    frames: int
    seed: int
    clean: bool


@dataclass(frozen=True, slots=True)
class _White:
    kelvin: float
    duv: float


@dataclass(frozen=True, slots=True)
class _Format:
    """How a clip's pictures are coded: encoder, its options, pixel format and tags (H.273)."""

    codec: str
    options: dict[str, str]
    pixel_format: str
    bits: int
    tags: tuple[int, int, int]  # primaries, transfer, matrix
    codec_tag: str | None = None


_FORMATS = {
    "hlg": _Format(
        "libx265",
        {
            "preset": "ultrafast",
            "crf": "16",
            "x265-params": "log-level=none:pools=none:frame-threads=1",
        },
        "yuv420p10le",
        10,
        (9, 18, 9),
        "hvc1",
    ),
    "bt709": _Format(
        "libx264",
        # Looking ahead, x264 reads past the edge of narrow pictures: the same clip would vary.
        {"preset": "veryfast", "crf": "18", "x264-params": "mbtree=0:rc-lookahead=0"},
        "yuv420p",
        8,
        (1, 1, 1),
    ),
}
# The logs as phones tag them: BT.2020 primaries and matrix, transfer unspecified.
_LOG = _Format("prores", {"profile": "1"}, "yuv422p10le", 10, (9, 2, 9))


def fault_matrix(stops: float, kelvin: float, duv: float) -> Array:
    """Linear BT.2020 of the clean picture to that of a clip whose neutral lies at a white."""
    levelled = levelling_matrix(-stops, _White(kelvin, duv))
    return np.linalg.inv(levelled).astype(np.float64)


def frame_times(shot: Shot, frames: int, random: np.random.Generator) -> npt.NDArray[np.int64]:
    """Presentation times in ticks: even, or as a phone drops and delays frames."""
    if not shot.variable_rate:
        return np.arange(frames, dtype=np.int64) * _TICKS_A_FRAME
    gaps = random.choice([20, 22, 24, 26, 48], frames - 1, p=[0.3, 0.25, 0.25, 0.15, 0.05])
    return np.concatenate([[0], np.cumsum(gaps)]).astype(np.int64)


class ClipMaker:
    """One clip under construction."""

    def __init__(self, shot: Shot, still: Still, settings: Settings) -> None:
        self.shot = shot
        self.settings = settings
        self.encoding: Encoding = named(shot.encoding)
        self.format = _FORMATS.get(shot.encoding, _LOG)
        seed = (settings.seed, int(shot.name[1:4]))
        self.random = np.random.default_rng(seed)
        self.drift: Array = self.random.uniform(0.0, 6.0, 8)
        self.times = frame_times(shot, settings.frames, self.random)
        self.fault: Array = _NO_FAULT
        if not settings.clean:
            self.fault = fault_matrix(shot.stops, shot.kelvin, shot.duv)
        to_camera = rgb_to_rgb("bt2020", self.encoding.primaries) @ self.fault
        self.canvas = Canvas(still, shot.place, to_camera, settings.seed)
        self.depth = near_depth(still.depth)
        self.lens = Lens(still.depth.shape[1], still.depth.shape[0], still.focal)
        self.card = still.card
        self.sensor = Sensor.of(self.encoding, shot.grain, self.clip_light, self.format.bits)

    @property
    def clip_light(self) -> float:
        """Light at which the sensor is full."""
        if self.shot.sensor_clip is not None and not self.settings.clean:
            return self.shot.sensor_clip
        return _LAST_LIGHT.get(self.shot.encoding, 12.0)

    @property
    def shown_size(self) -> tuple[int, int]:
        """Width and height of the picture held upright."""
        w, h = self.settings.size
        return (h, w) if self.shot.portrait else (w, h)

    @property
    def seconds(self) -> float:
        """Duration, the last frame included."""
        return float(self.times[-1] + _TICKS_A_FRAME) / TICKS

    def _progress(self, n: int) -> float:
        return n / max(1, self.settings.frames - 1)

    def view(self, n: int) -> Array:
        """3x3 from upright output pixels to still pixels at frame n."""
        seconds = float(self.times[n]) / TICKS
        return view_at(
            self.shot, self.lens, self.shown_size, self._progress(n), seconds, self.drift
        )

    def parallax(self, n: int) -> Array:
        """Still pixels for each 1/m at frame n."""
        reach = self.canvas.life.parallax * self.canvas.unit
        return parallax_at(reach, float(self.times[n]) / TICKS, self.drift)

    def frames(self) -> Iterator[av.VideoFrame]:
        """The pictures, coded."""
        w, h = self.settings.size
        halves = h if self.format.pixel_format.startswith("yuv422") else h // 2
        luma = np.empty((h, w), np.uint16)
        planes = (luma, *np.empty((2, halves, w // 2), np.uint16))
        noise = noise_tile(w)
        turn = coded_from_upright(h) if self.shot.portrait else np.eye(3)
        for n, ticks in enumerate(self.times):
            seconds = float(ticks) / TICKS
            pixels = self.canvas.draw(seconds)
            x, y = (int(v) for v in self.random.integers(0, noise.shape[1], 2))
            expose(
                pixels,
                self.depth,
                self.view(n) @ turn,
                self.parallax(n),
                self.canvas.sway(seconds),
                noise,
                (x, y),
                self.sensor,
                planes,
            )
            yield self._frame(planes, int(ticks))

    def _frame(self, planes: tuple[Codes, Codes, Codes], ticks: int) -> av.VideoFrame:
        frame = av.VideoFrame(*self.settings.size, self.format.pixel_format)
        kind = np.uint8 if self.format.bits == 8 else np.uint16
        for plane, codes in zip(frame.planes, planes, strict=True):
            room = np.frombuffer(memoryview(plane), kind).reshape(plane.height, -1)
            room[:, : plane.width] = codes
        frame.color_primaries, frame.color_trc, frame.colorspace = self.format.tags
        frame.color_range = 1
        frame.pts, frame.time_base = ticks, Fraction(1, TICKS)
        return frame

    def truth(self) -> dict[str, Any]:
        """What is true of this clip."""
        shot, faulty = self.shot, not self.settings.clean
        kelvin, duv = (shot.kelvin, shot.duv) if faulty else kelvin_duv(D65)
        return {
            "file": shot.file,
            "setup": shot.setup,
            "overlaps": shot.overlaps,
            "encoding": shot.encoding,
            "exposure_stops": shot.stops if faulty else 0.0,
            "white_kelvin": round(kelvin, 2),
            "white_duv": round(duv, 6),
            "adaptation": "CAT16, full",
            "fault_matrix_bt2020": np.round(self.fault, 8).tolist(),
            "card_light_bt2020": np.round(self.card, 6).tolist(),
            "sensor_clip": self.clip_light,
            "noise_variance": {"slope": VARIANCE * shot.grain, "offset": OFFSET},
            "chart": shot.place == "shop",
            "grey_card": self._grey_card(),
            "variable_rate": shot.variable_rate,
            "times_600": self.times.tolist(),
            "rotation_degrees": -90 if shot.portrait else 0,
            "loud": shot.loud,
            "created": f"{NIGHT}T{shot.created}Z",
            "timecode": f"{shot.created}:00" if shot.timecode else None,
            "view": [np.round(self.view(n), 6).tolist() for n in (0, self.settings.frames - 1)],
        }

    def _grey_card(self) -> dict[str, float] | None:
        """Where the middle of the grey card is seen, as shares of the upright picture."""
        if self.shot.place != "shop":
            return None
        n = self.settings.frames // 2
        scene = shop()
        x, y = scene.project(GREY_CARD, self.lens.width / self.lens.height)
        near = 1.0 / float(np.linalg.norm(np.subtract(GREY_CARD, scene.view.eye)))
        there = np.array([x * self.lens.width, y * self.lens.height])
        there -= self.parallax(n) * near
        u, v, w = np.linalg.solve(self.view(n), np.array([*there, 1.0]))
        width, height = self.shown_size
        return {
            "seconds": float(self.times[n]) / TICKS,
            "x": round(float(u / w / width), 5),
            "y": round(float(v / w / height), 5),
        }


def _open_video(target: OutputContainer, maker: ClipMaker) -> VideoStream:
    form = maker.format
    stream = target.add_stream(form.codec, rate=FRAME_RATE, options=dict(form.options))
    assert isinstance(stream, VideoStream)
    stream.width, stream.height = maker.settings.size
    stream.pix_fmt = form.pixel_format
    context = stream.codec_context
    context.thread_count = 1
    context.color_primaries, context.color_trc, context.colorspace = form.tags
    context.color_range = 1
    context.time_base = stream.time_base = Fraction(1, TICKS)
    if form.codec_tag:
        context.codec_tag = form.codec_tag
    if maker.shot.portrait:
        stream.set_display_rotation(-90)
    return stream


def _metadata(shot: Shot) -> dict[str, str]:
    """Container metadata of an invented maker; the last key tells the two phone logs apart."""
    found = {
        "com.example.camera.make": "Aldersyke",
        "com.example.camera.model": "First Bread Camera",
        "com.example.camera.software": "first_bread 1",
        "creation_time": f"{NIGHT}T{shot.created}.000000Z",
    }
    if shot.timecode:
        found["timecode"] = f"{shot.created}:00"
    if shot.encoding.startswith("phone-log"):
        found["com.example.camera.log"] = f"phone log {shot.encoding[-1]}"
    return found


def _write_sound(target: OutputContainer, stream: AudioStream, maker: ClipMaker) -> None:
    shot = maker.shot
    samples = location_sound(shot.setup, shot.loud, maker.random, maker.seconds)
    for start in range(0, samples.shape[1], 1024):
        block = np.ascontiguousarray(samples[:, start : start + 1024].T).reshape(1, -1)
        frame = av.AudioFrame.from_ndarray(block, format="s16", layout="stereo")
        frame.sample_rate = RATE
        frame.pts, frame.time_base = start, Fraction(1, RATE)
        target.mux(stream.encode(frame))
    target.mux(stream.encode(None))


def write_clip(path: Path, shot: Shot, still: Still, settings: Settings) -> dict[str, Any]:
    """Write a clip to `path` and return what is true of it."""
    maker = ClipMaker(shot, still, settings)
    options = {"movflags": "use_metadata_tags"}
    with av.open(str(path), "w", options=options) as target:
        target.metadata.update(_metadata(shot))
        video = _open_video(target, maker)
        lossless = maker.format is _LOG
        audio = target.add_stream("pcm_s16le" if lossless else "aac", rate=RATE, layout="stereo")
        assert isinstance(audio, AudioStream)
        for frame in maker.frames():
            target.mux(video.encode(frame))
        target.mux(video.encode(None))
        _write_sound(target, audio, maker)
    return {**maker.truth(), "bytes": path.stat().st_size}

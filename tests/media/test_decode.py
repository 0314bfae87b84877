"""Frames in order, by time and as a sample; each says its own number."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import ModuleType
from typing import Any

import av
import numpy as np
import pytest
from av.video.frame import VideoFrame
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import ClipError
from evenhand.media.decode import frame_at, frames, nearest_pts, pts_at, sample
from evenhand.media.pixels import can_read, planes_of, subsampling
from evenhand.media.probe import probe
from evenhand.reasons import because

pytestmark = pytest.mark.media

# 200 frames, a key frame about every 50, closed and open groups of pictures, and reordering
LONG = {
    "h264": ("libx264", "yuv420p", {"preset": "veryfast", "g": "50", "bf": "3"}),
    "hevc-open": (
        "libx265",
        "yuv420p10le",
        {"preset": "ultrafast", "x265-params": "log-level=none:keyint=50:bframes=4:open-gop=1"},
    ),
    "prores": ("prores_ks", "yuv422p10le", {"profile": "lt"}),
}


@pytest.fixture(scope="module", params=LONG)
def long_clip(
    request: pytest.FixtureRequest, synth: ModuleType, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    codec, pixels, options = LONG[request.param]
    path: Path = synth.write_clip(
        tmp_path_factory.mktemp("long") / "a.mov",
        codec=codec,
        pixel_format=pixels,
        options=options,
        size=(128, 72),
        frames=200,
    )
    return path


def test_all_frames_in_order(synth: ModuleType, long_clip: Path) -> None:
    """Every frame comes once, in order, at its time."""
    with frames(long_clip) as reader:
        got = [(synth.read_number(f.planes[0], f.bits), f.time) for f in reader]

    assert got == [(n, Fraction(n, 25)) for n in range(200)]
    assert (reader.count, reader.damage) == (200, ())


def test_accurate_at_every_frame(synth: ModuleType, long_clip: Path) -> None:
    """Seeking gives exactly the frame that is on screen, in the middle of its time too."""
    facts = probe(long_clip)

    for number in [0, 1, 48, 49, 50, 51, 97, 98, 99, 100, 101, 149, 150, 198, 199]:
        for part in (Fraction(0), Fraction(1, 2)):
            frame = frame_at(long_clip, (number + part) / 25, facts)
            assert synth.read_number(frame.planes[0], frame.bits) == number


def test_before_and_after_the_clip(synth: ModuleType, long_clip: Path) -> None:
    """Times outside give the first and the last frame."""
    first, last = frame_at(long_clip, -3), frame_at(long_clip, 1000.0)

    assert synth.read_number(first.planes[0], first.bits) == 0
    assert synth.read_number(last.planes[0], last.bits) == 199


def test_a_part_of_a_clip(synth: ModuleType, long_clip: Path) -> None:
    """Start is inside, stop is outside, both exact."""
    part = frames(long_clip, Fraction(99, 25), Fraction(103, 25))

    assert [synth.read_number(f.planes[0], f.bits) for f in part] == [99, 100, 101, 102]


def test_sample_in_the_order_asked(synth: ModuleType, long_clip: Path) -> None:
    """The frames nearest to each share of the duration, repeated and out of order as asked."""
    got = sample(long_clip, probe(long_clip), [0.9, 0.0, 0.5, 0.505, 1.0, 0.5])

    numbers = [synth.read_number(f.planes[0], f.bits) for f in got]
    assert numbers == [180, 0, 100, 101, 199, 100]


def test_cheap_sample_starts_at_key_frames(synth: ModuleType, long_clip: Path) -> None:
    """Not exact: the key frame before each share, and the share itself where all are key frames."""
    got = sample(long_clip, probe(long_clip), [0.1, 0.5, 0.9], exact=False)

    with av.open(str(long_clip)) as container:
        keys = [f.pts for f in container.decode(video=0) if f.key_frame]
    base = 200 / (probe(long_clip).times[-1] + probe(long_clip).times[1])
    for frame, share in zip(got, (20, 100, 180), strict=True):
        assert frame.pts == max(pts for pts in keys if pts * base <= share + 0.01)


def test_variable_rate_by_time(synth: ModuleType, tmp_path: Path) -> None:
    """A frame is on screen until the next one is shown, however long that is."""
    times = np.cumsum([0, 3003, 3003, 9009, 3003, 2900]).tolist()
    path = synth.write_clip(tmp_path / "v.mp4", frames=6, times=times)

    def shown(ticks: int) -> int:
        frame = frame_at(path, Fraction(ticks, 90000))
        return int(synth.read_number(frame.planes[0], frame.bits))

    assert [shown(t) for t in (6006, 6007, 15014, 15015, 18017, 18018)] == [2, 2, 2, 3, 3, 4]


def test_hidden_frames_stay_hidden(synth: ModuleType, tmp_path: Path) -> None:
    """Frames before the edit are never handed out, and the first shown one can be sought."""
    words = synth.H264 | {"options": {"preset": "ultrafast", "g": "50"}}
    path = synth.write_clip(tmp_path / "e.mp4", **words, frames=26, hidden=6)

    numbers = [synth.read_number(f.planes[0], f.bits) for f in frames(path)]
    first = frame_at(path, 0)

    assert numbers == list(range(6, 26))
    assert synth.read_number(first.planes[0], first.bits) == 6


@pytest.mark.parametrize("width", [1080, 854, 1920])
@pytest.mark.parametrize(
    ("codec", "pixels"), [("prores_ks", "yuv422p10le"), ("libx264", "yuv420p")]
)
def test_padded_lines(
    synth: ModuleType, tmp_path: Path, width: int, codec: str, pixels: str
) -> None:
    """Lines that are longer in memory than in the picture do not show up in it."""
    options = {"profile": "lt"} if codec == "prores_ks" else {"preset": "ultrafast", "qp": "1"}
    path = synth.write_clip(
        tmp_path / "p.mov", codec=codec, pixel_format=pixels, options=options,
        size=(width, 64), frames=1, picture=lambda n: stripes(pixels, width, 64),
    )  # fmt: skip

    frame = next(iter(frames(path)))
    meant = stripes(pixels, width, 64)

    for plane, want in zip(frame.planes, meant, strict=True):
        assert plane.shape == want.shape
        error = np.abs(plane.astype(int) - want.astype(int))
        assert error.mean() < 2 * (1 << (frame.bits - 8))


def stripes(pixels: str, width: int, height: int) -> tuple[Any, Any, Any]:
    """Slow waves that differ from line to line, so that a slipped line is far off."""
    kind = av.VideoFormat(pixels, width, height)
    bits = kind.components[0].bits
    dtype = np.uint8 if bits == 8 else np.uint16

    def plane(h: int, w: int, turn: float) -> np.ndarray:
        y, x = np.mgrid[:h, :w]
        wave = 128 + 60 * np.sin(x / w * 6.3 + y / h * 6.3 + turn)
        return (wave * (1 << (bits - 8))).astype(dtype)

    size = kind.chroma_height(height), kind.chroma_width(width)
    return plane(height, width, 0), plane(*size, 1), plane(*size, 2)


def test_views_outlive_the_reader(synth: ModuleType, tmp_path: Path) -> None:
    """Views kept after the clip is closed, and copies, hold what they held."""
    path = synth.write_clip(tmp_path / "k.mov", **synth.HEVC, frames=30)
    kept, copies = [], []
    with frames(path) as reader:
        for frame in reader:
            kept.append(frame)
            copies.append(frame.copied())

    for view, copy in zip(kept, copies, strict=True):
        assert all(np.array_equal(a, b) for a, b in zip(view.planes, copy.planes, strict=True))
    assert not np.shares_memory(kept[0].planes[0], copies[0].planes[0])


@pytest.mark.parametrize(
    "pixels",
    [
        "yuv420p", "yuvj420p", "yuv422p", "yuv444p", "yuv420p10le", "yuv422p10le", "yuv444p10le",
        "yuv444p12le", "yuva444p12le", "yuv422p16le", "nv12", "nv16", "p010le", "p210le", "p016le",
        "yuyv422", "uyvy422", "gray", "gray10le", "y210le", "xv36le",
    ],
)  # fmt: skip
@pytest.mark.parametrize("size", [(64, 48), (1080, 16), (61, 37)])
def test_formats(pixels: str, size: tuple[int, int]) -> None:
    """Known codes in each memory layout come out as those codes."""
    width, height = size
    kind = av.VideoFormat(pixels, width, height)
    bits = max(part.bits for part in kind.components)
    across, down = subsampling(kind)
    draw = np.random.default_rng(7)
    dtype = np.uint8 if bits <= 8 else np.uint16
    high = 1 << bits
    small = -(-height // down), -(-width // across)
    luma = draw.integers(0, high, (height, width)).astype(dtype)
    first = draw.integers(0, high, small).astype(dtype)
    second = draw.integers(0, high, small).astype(dtype)
    if pixels.startswith("gray"):
        first = second = np.full((height, width), high // 2, dtype)
    frame = VideoFrame(width, height, pixels)
    frame.color_range = 1
    if not fill(frame, pixels, (luma, first, second), bits):
        pytest.skip("an odd width has half a pair")

    got = planes_of(frame)

    for plane, want in zip(got, (luma, first, second), strict=True):
        np.testing.assert_array_equal(plane, want)


def fill(frame: VideoFrame, pixels: str, planes: tuple[Any, Any, Any], bits: int) -> bool:
    """Writes codes into a frame by the layout that the format's definition gives."""
    luma, first, second = planes
    if pixels in ("yuyv422", "uyvy422", "y210le"):
        if luma.shape[1] % 2:
            return False
        order = [1, 0, 1, 2] if pixels == "uyvy422" else [0, 1, 0, 2]
        packed = np.empty((luma.shape[0], luma.shape[1] * 2), luma.dtype)
        wave = (0, 2) if pixels != "uyvy422" else (1, 3)
        chroma = [k for k in range(4) if k not in wave]
        assert order[chroma[0]] == 1
        packed[:, wave[0] :: 4], packed[:, wave[1] :: 4] = luma[:, 0::2], luma[:, 1::2]
        packed[:, chroma[0] :: 4], packed[:, chroma[1] :: 4] = first, second
        put(frame, 0, packed << (16 - bits) if bits > 8 else packed)
    elif pixels == "xv36le":  # U, Y, V, spare in 16-bit words, codes in the high bits
        packed = np.zeros((*luma.shape, 4), np.uint16)
        packed[..., 0], packed[..., 1], packed[..., 2] = first, luma, second
        put(frame, 0, (packed << 4).reshape(luma.shape[0], -1))
    elif pixels.startswith(("nv", "p0", "p2")):
        pairs = np.empty((first.shape[0], first.shape[1] * 2), luma.dtype)
        pairs[:, 0::2], pairs[:, 1::2] = first, second
        up = 16 - bits if bits > 8 else 0
        put(frame, 0, luma << up)
        put(frame, 1, pairs << up)
    elif pixels.startswith("gray"):
        put(frame, 0, luma)
    else:
        for number, plane in enumerate(planes):
            put(frame, number, plane)
    return True


def put(frame: VideoFrame, number: int, values: Any) -> None:
    plane = frame.planes[number]
    line = plane.line_size // values.dtype.itemsize
    memory = np.frombuffer(plane, values.dtype)[: line * plane.height].reshape(plane.height, line)
    memory[:, : values.shape[1]] = values


@pytest.mark.parametrize("pixels", ["rgb24", "gbrp10le", "pal8", "bgra", "bayer_rggb8"])
def test_formats_without_luma_are_refused(pixels: str) -> None:
    """Red, green and blue are not taken for Y', Cb and Cr."""
    assert not can_read(av.VideoFormat(pixels, 64, 48))


def test_refusal_of_a_clip_in_rgb(tmp_path: Path) -> None:
    """A clip in RGB is refused with the name of its format."""
    path = tmp_path / "rgb.mov"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("qtrle", rate=25)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "rgb24"
        for packet in (*stream.encode(VideoFrame(64, 48, "rgb24")), *stream.encode(None)):
            out.mux(packet)

    with pytest.raises(ClipError, match="its pixels are rgb24"):
        next(iter(frames(path)))


def test_odd_sizes(synth: ModuleType, tmp_path: Path) -> None:
    """Chroma of odd sizes is rounded up."""
    path = synth.write_clip(
        tmp_path / "odd.mov", codec="mjpeg", pixel_format="yuvj420p", options={},
        size=(131, 77), frames=3, tags=(1, 1, 1, 2),
    )  # fmt: skip

    frame = frame_at(path, Fraction(2, 25))

    assert [p.shape for p in frame.planes] == [(77, 131), (39, 66), (39, 66)]
    assert (frame.sub_x, frame.sub_y, frame.bits) == (2, 2, 8)
    assert synth.read_number(frame.planes[0], frame.bits) == 2


def test_bad_packet_in_the_middle(synth: ModuleType, tmp_path: Path) -> None:
    """A frame that cannot be decoded is left out and reported; the rest comes."""
    path = synth.write_clip(tmp_path / "bad.mov", **synth.PRORES, frames=10)
    synth.damage_packet(path, 4)

    with frames(path) as reader:
        numbers = [synth.read_number(f.planes[0], f.bits) for f in reader]

    assert numbers == [0, 1, 2, 3, 5, 6, 7, 8, 9]
    assert reader.damage == (because("damage.undecodable", places=1, frames=9),)
    assert synth.read_number(frame_at(path, Fraction(4, 25)).planes[0], 10) == 5


@pytest.mark.parametrize("kind", ["H264", "HEVC", "PRORES"])
def test_cut_short(synth: ModuleType, tmp_path: Path, kind: str) -> None:
    """What is left of an interrupted copy is handed out without an exception."""
    path = synth.write_clip(tmp_path / "cut.mov", **getattr(synth, kind), frames=40)
    synth.cut_to(path, 0.7)
    facts = probe(path)

    numbers = [synth.read_number(f.planes[0], f.bits) for f in frames(path)]

    assert numbers[: facts.frames - 1] == list(range(facts.frames - 1))
    assert facts.frames - 1 <= len(numbers) <= facts.frames + 1


def test_nothing_left_to_seek(synth: ModuleType, tmp_path: Path) -> None:
    """A time behind the last readable frame is refused in words."""
    path = synth.write_clip(tmp_path / "cut.mov", **synth.PRORES, frames=4)
    facts = probe(path)
    synth.cut_between_packets(path, 2)

    with pytest.raises(ClipError, match=r"no frame can be decoded at 0\.120 s"):
        frame_at(path, Fraction(3, 25), facts)


@given(st.floats(0, 1), st.lists(st.integers(1, 9000), min_size=1, max_size=30))
def test_nearest_share_is_nearest(share: float, gaps: list[int]) -> None:
    """No frame is closer to the asked share of the duration than the one chosen."""
    times = tuple(np.cumsum([5, *gaps]).tolist())
    facts = KnownTimes(times)
    goal = times[0] + share * facts.duration * 90000

    chosen = nearest_pts(facts, share)

    assert abs(chosen - goal) <= min(abs(t - goal) for t in times) + 1e-6


def test_time_before_the_first_frame() -> None:
    """A clip that starts late shows its first frame before that."""
    facts = KnownTimes((900, 4500))

    assert pts_at(facts, 0) == 900
    assert pts_at(facts, Fraction(4499, 90000)) == 900
    assert pts_at(facts, Fraction(4500, 90000)) == 4500


class KnownTimes:
    """The three facts that finding a frame needs."""

    def __init__(self, times: tuple[int, ...]) -> None:
        self.times = times
        self.time_base = "1/90000"
        self.duration = (times[-1] - times[0] + 100) / 90000

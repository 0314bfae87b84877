"""A clip made with known light inside it, through its file: found, and taken out."""

from __future__ import annotations

import sys
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import msgspec
import numpy as np
import pytest

sys.path.append(str(Path(__file__).parents[1] / "measure"))

import simulated_camera
from simulated_camera import Fault, View
from simulated_clips import Clip, panning

from evenhand.colourmath.encodings import named
from evenhand.colourmath.ycbcr import to_codes
from evenhand.grade.steadying import channel_gains, ripple_stops, row_fractions
from evenhand.jobs import steadying as job
from evenhand.jobs.steadying import SteadyingFinding, find_steadying
from evenhand.measure import ratios
from evenhand.media.probe import probe

pytestmark = [pytest.mark.media, pytest.mark.slow]

SIZE = (640, 360)
LOG = named("phone-log-1")
DEPTH = 0.15


def written(synth: ModuleType, path: Path, clip: Clip, ticks: list[int]) -> Path:
    """The clip as a file of the kind that phones write: 10 bits, groups of a second."""
    planes = []
    for recording in clip.frames():
        codes = to_codes(recording.signal, 10, "bt2020", "narrow")
        luma, *chroma = (np.round(codes[..., k]).astype(np.uint16) for k in range(3))
        planes.append((luma, *(c[::2, ::2] for c in chroma)))
    options = {
        "preset": "ultrafast",
        "crf": "14",
        "x265-params": "log-level=none:pools=1:frame-threads=1:bframes=0:keyint=30",
    }
    return synth.write_clip(
        path,
        codec="libx265",
        pixel_format="yuv420p10le",
        options=options,
        size=SIZE,
        frames=len(planes),
        rate=Fraction(30),
        times=ticks,
        tags=synth.PHONE_LOG,
        picture=lambda n: planes[n],
    )


def regular(count: int) -> list[int]:
    return [3000 * n for n in range(count)]


def uneven(count: int) -> list[int]:
    """Ticks of 1/90000 as a phone writes them that drops frames and wavers."""
    rng = np.random.default_rng(8)
    return np.cumsum([0, *rng.choice([2960, 3000, 3040, 6000], count - 1)]).tolist()


def mains(seconds: np.ndarray, hertz: float) -> np.ndarray:
    """Stops of each row of each frame: a raised-cosine lamp, read in 18 ms."""
    rows = row_fractions(SIZE[1])
    phase = 2 * np.pi * hertz * (seconds[:, None] + 0.018 * rows) + 0.4
    return np.log2(1 + DEPTH * np.cos(phase))


def pumping(seconds: np.ndarray) -> list[Fault]:
    """Exposure that hunts by 0.35 stop, and white that goes by 12 mired."""
    stops = 0.35 * np.sin(2 * np.pi * seconds / 3.1) * (seconds > 1)
    mired = 12 * np.clip((seconds - 1) / 2, 0, 1)
    return [Fault(float(s), float(m)) for s, m in zip(stops, mired, strict=True)]


def found_in(
    synth: ModuleType, folder: Path, clip: Clip, ticks: list[int], level: float = 0.98
) -> SteadyingFinding:
    path = written(synth, folder / "clip.mp4", clip, ticks)
    return find_steadying(path, probe(path), LOG, level)


def neutral_left(finding: SteadyingFinding, clip: Clip) -> np.ndarray:
    """Stops and mired (n, 2) of a neutral once it is steadied, about their own middle."""
    assert finding.steadying is not None
    true = clip.neutral()
    left = []
    for n, seconds in enumerate(clip.seconds):
        undone = channel_gains(finding.steadying, LOG, float(seconds))
        found = ratios.difference_of(ratios.gains_of(np.exp2(true[n] + undone)))
        left.append((found.stops, found.mired))
    values = np.array(left)
    return np.asarray(values - np.median(values, axis=0))


@pytest.mark.parametrize(("times", "hertz"), [(regular, 100.04), (uneven, 120.0)])
def test_drift_and_flicker_of_a_file(
    synth: ModuleType, tmp_path: Path, times: object, hertz: float
) -> None:
    """Both at once, through the codec: 0.02 stop, 2 mired, and 7 % of the ripple at the most."""
    ticks = regular(130) if times is regular else uneven(130)
    seconds = np.array(ticks) / 90000
    stops = mains(seconds, hertz)

    def lit(picture: np.ndarray, share: float) -> np.ndarray:
        return picture * np.exp2(stops[round(share * 129)])[:, None, None].astype(np.float32)

    clip = Clip(
        simulated_camera.scene(3), seconds, pumping(seconds), panning, lit, size=SIZE, seed=2
    )
    finding = found_in(synth, tmp_path, clip, ticks)

    assert finding.flicker.status == "levelled"
    assert finding.flicker.hertz == pytest.approx(hertz, abs=0.01)
    assert finding.steadying is not None
    assert finding.steadying.ripple is not None
    assert finding.steadying.clip == 0.98
    rows = row_fractions(SIZE[1])
    gone = np.array([ripple_stops(finding.steadying.ripple, t, rows) for t in seconds])
    assert np.std(stops - gone) <= 0.07 * np.std(stops)
    assert finding.drift.status == "levelled"
    assert finding.drift.range_stops == pytest.approx(0.7, abs=0.05)
    assert finding.measured >= 130
    assert (np.abs(neutral_left(finding, clip)).max(axis=0) <= [0.02, 2.0]).all()


def test_a_steady_clip_is_only_glanced_at(synth: ModuleType, tmp_path: Path) -> None:
    """Five seconds of one exposure: a frame a second and two runs, and nothing is changed."""
    seconds = np.arange(150) / 30
    clip = Clip(
        simulated_camera.scene(4),
        seconds,
        [Fault()] * 150,
        lambda s: View(x=0.45 + 0.1 * s, share=0.6),
        size=SIZE,
    )

    finding = found_in(synth, tmp_path, clip, regular(150))

    assert finding.steadying is None
    assert finding.drift.status == "steady"
    assert finding.flicker.status == "steady"
    assert finding.measured == 0
    assert finding.glanced <= 2 * job.RUN + 8


def test_of_a_long_clip_a_part_is_measured(
    synth: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only so many frames are read; the correction fades where the measured part ends."""
    monkeypatch.setattr(job, "MOST_FRAMES", 75)
    seconds = np.arange(150) / 30
    clip = Clip(simulated_camera.scene(5), seconds, pumping(seconds), size=SIZE)

    finding = found_in(synth, tmp_path, clip, regular(150))

    assert finding.measured <= 75 + 2
    assert finding.drift.why[-1].code == "drift.only-a-part"
    if finding.steadying is not None:
        ends = finding.steadying.seconds[0], finding.steadying.seconds[-1]
        assert ends[1] - ends[0] < 2.6
        for values in (finding.steadying.stops, finding.steadying.mired):
            assert min(ends[0], abs(values[0])) == pytest.approx(0, abs=1e-6)
            assert values[-1] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    "name", ["hlg-portrait-edit-list.mov", "pq-variable-rate.mp4", "sdr-portrait-uhd-60.mp4"]
)
def test_real_clips(real_clips: Path, name: str) -> None:
    """Hand-held phones by daylight: no flicker, and small changes of exposure and white."""
    encodings = {
        "hlg": named("hlg"),
        "pq-": named("pq"),
        "sdr": msgspec.structs.replace(named("bt601-625"), range="full"),
    }
    path = real_clips / name

    finding = find_steadying(path, probe(path), encodings[name[:3]], 0.98)

    assert finding.flicker.status == "steady"
    assert finding.flicker.fit < 0.2
    assert finding.drift.range_stops < 0.2
    assert finding.drift.range_mired < 8
    assert finding.drift.why

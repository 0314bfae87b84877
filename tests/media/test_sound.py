"""Sound goes with its picture to the sample, whatever the clip's tracks do."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
import pytest
from tiny_masters import clicks, clip, order, sound_of, write

from evenhand.media.encode import MasterWriter
from evenhand.media.probe import probe
from evenhand.media.samples import TrackSamples, as_float, sample_count, stereo_matrix
from evenhand.media.sound import as_24_bits, plan_sound
from evenhand.media.spec import load_spec

pytestmark = pytest.mark.media

CLIPS = Path(__file__).parents[3] / "shared" / "clips"
PICTURES = 50  # two seconds at 25 fps


def master(
    tmp_path: Path, source: Path, spec: str, first: int = 0, count: int = PICTURES
) -> tuple[Path, MasterWriter]:
    """Master `count` frames of a clip from frame `first` on, with its sound."""
    facts = probe(source)
    start = facts.times[first] * Fraction(facts.time_base)
    sound = plan_sound(load_spec(spec).sound, source, facts.audio, start, Fraction(count, 25))
    target = tmp_path / ("master.mov" if spec == "archive" else "master.mp4")
    writer = write(target, order(count, spec, sound), frames=list(range(first, first + count)))
    return target, writer


def click_times(samples: npt.NDArray[np.float64], start: Fraction) -> list[float]:
    """Times of the highest samples of each second half, in seconds on the master's clock."""
    loud = np.abs(samples[0])
    times = []
    for at in range(0, loud.size, 24_000):
        part = loud[at : at + 24_000]
        if part.max(initial=0) > 0.1:
            times.append(float(start) + (at + int(part.argmax())) / 48_000)
    return times


@pytest.mark.parametrize("first", [0, 13])
@pytest.mark.parametrize("first_frame", [0.0, 0.2])
def test_pcm_stays_with_its_picture_to_the_sample(
    tmp_path: Path, first: int, first_frame: float
) -> None:
    """A click at the moment frame n is shown comes when frame n is shown, from whatever frame."""
    shown = [first_frame + (first + n) / 25 for n in (5, 30)]
    track = clicks(48_000, 4, shown)
    source = clip(
        tmp_path / "clip.mov", [("pcm_s16le", 48_000, "mono", track, 0.0)], 70, first_frame
    )
    target, _ = master(tmp_path, source, "archive", first)
    start, samples = sound_of(target)

    assert start == 0
    assert samples.shape == (1, 96_000)
    assert click_times(samples, start) == pytest.approx([5 / 25, 30 / 25], abs=0.5 / 48_000)


def test_pcm_arrives_bit_for_bit(tmp_path: Path) -> None:
    """At 48 kHz nothing is computed: 16 bits go into 24 as they are."""
    noise = np.random.default_rng(1).uniform(-0.9, 0.9, (2, 96_000))
    source = clip(tmp_path / "clip.mov", [("pcm_s16le", 48_000, "stereo", noise, 0.0)])
    target, _ = master(tmp_path, source, "archive")
    _, samples = sound_of(target)

    assert np.array_equal(samples * 2**15, np.rint(noise * 32767))


@pytest.mark.parametrize(("start", "length"), [(-0.4, 4.0), (0.3, 4.0), (0.3, 0.9), (0.0, 0.5)])
def test_tracks_that_start_or_end_elsewhere_are_cut_or_filled(
    tmp_path: Path, start: float, length: float
) -> None:
    """Sound before the picture is left out; silence stands where there is none."""
    tone = np.full((1, round(48_000 * length)), 0.25)
    first_frame = 0.48  # frame 12
    source = clip(
        tmp_path / "clip.mov",
        [("pcm_s16le", 48_000, "mono", tone, first_frame + start)],
        first_frame=first_frame,
    )
    target, _ = master(tmp_path, source, "archive")
    begin, samples = sound_of(target)
    loud = np.flatnonzero(np.abs(samples[0]) > 0.1)

    assert begin == 0
    assert samples.shape == (1, 96_000)
    assert loud[0] == pytest.approx(max(0, round(start * 48_000)), abs=1)
    assert loud[-1] == pytest.approx(min(96_000, round((start + length) * 48_000)) - 1, abs=1)


@pytest.mark.parametrize("first", [0, 13])
def test_aac_that_fits_is_taken_over_packet_for_packet(tmp_path: Path, first: int) -> None:
    """No second coding, and still in step to the sample: the edit list hides what leads in."""
    track = clicks(48_000, 4, [(first + n) / 25 for n in (5, 30)], channels=2)
    source = clip(tmp_path / "clip.mov", [("aac", 48_000, "stereo", track, 0.0)], 70)
    target, writer = master(tmp_path, source, "web-720", first)
    start, samples = sound_of(target)
    original = {bytes(p) for p in _packets(source)}
    copied = [bytes(p) for p in _packets(target)]

    assert [report.how for report in writer.sound_tracks] == ["copied"]
    assert all(packet in original for packet in copied)
    assert abs(start) <= Fraction(1, 48_000)
    assert abs(samples.shape[1] - 96_000) <= 1024
    assert click_times(samples, start) == pytest.approx([5 / 25, 30 / 25], abs=1.5 / 48_000)


def _packets(path: Path) -> list[av.Packet]:
    with av.open(str(path)) as container:
        return [packet for packet in container.demux(audio=0) if packet.size]


@pytest.mark.parametrize(
    ("encoder", "rate", "length"),
    [
        ("pcm_s16le", 48_000, 4.0),  # another codec
        ("aac", 44_100, 4.0),  # another rate
        ("aac", 48_000, 1.5),  # ends before the picture
    ],
)
def test_what_does_not_fit_is_made_anew_in_step(
    tmp_path: Path, encoder: str, rate: int, length: float
) -> None:
    """Within a millisecond after two codings, and as long as the picture."""
    track = clicks(rate, length, [5 / 25, 30 / 25], channels=2)
    source = clip(tmp_path / "clip.mov", [(encoder, rate, "stereo", track, 0.0)])
    target, writer = master(tmp_path, source, "web-720")
    start, samples = sound_of(target)

    assert [report.how for report in writer.sound_tracks] == ["encoded"]
    assert start == 0
    assert abs(samples.shape[1] - 96_000) <= 1024
    assert click_times(samples, start) == pytest.approx([5 / 25, 30 / 25], abs=0.001)


@pytest.mark.parametrize("rate", [44_100, 32_000, 96_000])
def test_another_rate_becomes_48_khz_without_a_shift(tmp_path: Path, rate: int) -> None:
    """A tone keeps its phase: the error is that of the resampler, below -80 dB."""
    seconds = np.arange(4 * rate) / rate
    tone = 0.5 * np.sin(2 * np.pi * 997 * seconds)[None]
    source = clip(tmp_path / "clip.mov", [("pcm_s16le", rate, "mono", tone, 0.0)], 70)
    target, _ = master(tmp_path, source, "archive", first=10)
    _, samples = sound_of(target)
    meant = 0.5 * np.sin(2 * np.pi * 997 * (np.arange(96_000) / 48_000 + 10 / 25))

    error = samples[0] - meant * 32767 / 32768
    assert samples.shape == (1, 96_000)
    assert 20 * np.log10(np.sqrt((error**2).mean()) / 0.354) < -80


def test_the_archive_takes_all_tracks_and_the_web_the_default_one(tmp_path: Path) -> None:
    """A microphone on a track of its own is not lost."""
    tracks = [
        ("aac", 48_000, "stereo", clicks(48_000, 3, [0.2], 2), 0.0),
        ("pcm_s16le", 48_000, "mono", clicks(48_000, 3, [0.7]), 0.0),
    ]
    source = clip(tmp_path / "clip.mov", tracks)
    archive, writer = master(tmp_path, source, "archive")
    web, _ = master(tmp_path, source, "web-720")

    assert [report.channels for report in writer.sound_tracks] == [2, 1]
    assert click_times(sound_of(archive, 1)[1], Fraction(0)) == pytest.approx([0.7], abs=1e-5)
    with av.open(str(web)) as container:
        assert len(container.streams.audio) == 1


def test_a_clip_without_sound_makes_a_master_without(tmp_path: Path) -> None:
    """No silent track is invented."""
    source = clip(tmp_path / "clip.mov", [])
    target, _ = master(tmp_path, source, "web-720")
    with av.open(str(target)) as container:
        assert not container.streams.audio


def test_damaged_packets_become_silence_and_move_nothing(tmp_path: Path) -> None:
    """Three packets are overwritten; the click after them stays where it was."""
    track = clicks(48_000, 4, [5 / 25, 30 / 25], channels=2)
    track += np.random.default_rng(0).normal(0, 0.01, track.shape)
    source = clip(tmp_path / "clip.mov", [("aac", 48_000, "stereo", track, 0.0)])
    data = bytearray(source.read_bytes())
    for packet in _packets(source)[25:28]:
        assert packet.pos is not None
        data[packet.pos : packet.pos + packet.size] = b"\xff" * packet.size
    source.write_bytes(data)
    target, writer = master(tmp_path, source, "web-720")
    start, samples = sound_of(target)

    assert writer.sound_tracks[0].how == "encoded"
    assert writer.sound_tracks[0].damaged == 3
    assert click_times(samples, start) == pytest.approx([5 / 25, 30 / 25], abs=0.001)


def test_a_gain_is_put_on_every_sample(tmp_path: Path) -> None:
    """-6.0206 dB is half; the packets are then not taken over as they are."""
    tone = np.full((2, 96_000), 0.5)
    source = clip(tmp_path / "clip.mov", [("pcm_s16le", 48_000, "stereo", tone, 0.0)])
    plan = plan_sound(
        load_spec("archive").sound, source, probe(source).audio, Fraction(0), Fraction(2)
    )
    assert plan is not None
    quieter = replace(plan, gain=20 * np.log10(0.5))
    write(tmp_path / "a.mov", order(PICTURES, "archive", quieter))
    _, samples = sound_of(tmp_path / "a.mov")

    assert np.abs(samples - 0.25).max() < 1 / 32767


@pytest.mark.skipif(not CLIPS.is_dir(), reason="the real clips are not here")
@pytest.mark.parametrize("first", [0, 20])
def test_taking_over_and_decoding_agree_on_a_real_clip(tmp_path: Path, first: int) -> None:
    """Variable rate: packets taken over and samples decoded are the same sound at the same time."""
    source = CLIPS / "pq-variable-rate.mp4"
    count = 4
    web, writer = master(tmp_path, source, "web-720", first, count)
    archive, _ = master(tmp_path, source, "archive", first, count)
    (_, copied), (_, decoded) = sound_of(web), sound_of(archive)
    wanted = decoded.shape[1]

    assert writer.sound_tracks[0].how == "copied"
    assert wanted == count * 48_000 // 25
    assert np.abs(copied[:, :wanted] - decoded).max() < 1e-4


@pytest.mark.oracle
def test_surround_is_mixed_down_by_the_standard_weights() -> None:
    """ITU-R BS.775-3 table 2: L' = L + 0.7071 C + 0.7071 Ls, and the same on the right."""
    weights = stereo_matrix(("FL", "FR", "FC", "LFE", "SL", "SR"))

    expected = [[1, 0, 0.7071, 0, 0.7071, 0], [0, 1, 0.7071, 0, 0, 0.7071]]
    assert weights == pytest.approx(np.array(expected), abs=1e-4)


def test_channels_without_a_place_go_to_both_sides() -> None:
    """Nobody knows where they were."""
    assert stereo_matrix(("", "", "", "")) == pytest.approx(np.full((2, 4), 0.25))


@pytest.mark.parametrize(("level", "lowered"), [(0.2, 1.0), (0.9, 1 / (0.9 * (1 + 2**0.5)))])
def test_a_mix_is_lowered_only_where_it_would_clip(
    tmp_path: Path, level: float, lowered: float
) -> None:
    """All channels at one level add up to 1 + √2 of it (left, centre and left surround)."""
    samples = np.full((6, 96_000), level)
    source = clip(tmp_path / "clip.mov", [("pcm_s16le", 48_000, "5.1", samples, 0.0)])
    index = probe(source).audio[0].index
    track = TrackSamples(source, index, Fraction(0), Fraction(1), stereo=True)
    mixed = np.concatenate(list(track.blocks()), axis=1)

    assert mixed.shape == (2, 48_000)
    assert mixed.max() == pytest.approx(level * (1 + 2**0.5) * lowered, rel=1e-3)


@pytest.mark.parametrize(("kind", "scale"), [(np.int16, 2**15), (np.int32, 2**31)])
def test_full_scale_is_one(kind: type, scale: int) -> None:
    """Whole numbers are divided by their largest negative value."""
    values = np.array([[-scale, scale // 2, 0, 0]], kind)

    assert as_float(values, 2, planar=False).tolist() == [[-1.0, 0.0], [0.5, 0.0]]


def test_eight_bit_sound_is_centred() -> None:
    """Unsigned: 128 is silence."""
    assert as_float(np.array([[0, 128, 192]], np.uint8), 1, planar=True).tolist() == [[-1, 0, 0.5]]


def test_24_bits_sit_in_the_upper_part_and_clip() -> None:
    """Channels lie side by side; full scale does not wrap round."""
    block = np.array([[0.5, 1.0], [-1.0, -2.0]], np.float32)

    assert as_24_bits(block).tolist() == [[2**30, -(2**31), (2**23 - 1) << 8, -(2**31)]]


def test_lengths_are_whole_samples() -> None:
    """A frame at 30000/1001 is 1601.6 samples; the length is rounded once, at the end."""
    assert sample_count(Fraction(1001, 30000)) == 1602
    assert sample_count(5 * Fraction(1001, 30000)) == 8008

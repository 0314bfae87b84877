"""What is read from a clip without decoding more than its first picture."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from evenhand.errors import ClipError
from evenhand.media.files import open_clip, video_stream
from evenhand.media.orientation import orientation, upright
from evenhand.media.probe import count_decoded, probe
from evenhand.media.records import ClipFacts, ColourTags

pytestmark = pytest.mark.media


def decoded_times(path: Path) -> tuple[int, ...]:
    """What a whole decode shows: the truth that the index is held against."""
    with open_clip(path) as container:
        stream = video_stream(container)
        return tuple(int(f.pts or 0) for f in container.decode(stream))


@pytest.mark.parametrize("kind", ["H264", "HEVC", "PRORES"])
@pytest.mark.parametrize("suffix", ["mov", "mp4"])
def test_times_are_what_a_decode_shows(
    synth: ModuleType, tmp_path: Path, kind: str, suffix: str
) -> None:
    """Times made from the index equal the decoded ones, with reordered frames too."""
    if kind == "PRORES" and suffix == "mp4":
        pytest.skip("ProRes lives in MOV")
    words = dict(getattr(synth, kind))
    reordered = {
        "H264": {"preset": "veryfast", "bf": "3"},
        "HEVC": {"preset": "ultrafast", "x265-params": "log-level=none:bframes=3"},
    }
    words["options"] = reordered.get(kind, words["options"])
    path = synth.write_clip(tmp_path / f"a.{suffix}", **words, frames=30)

    facts = probe(path)

    assert facts.times == decoded_times(path)
    assert (facts.frames, facts.frames_promised, facts.hidden_frames) == (30, 30, 0)
    assert (facts.rate, facts.constant_rate) == ("25/1", True)
    assert facts.duration == pytest.approx(1.2, abs=1e-9)
    assert facts.damage == ()


@pytest.mark.parametrize(
    ("kind", "codec", "profile", "pixels", "bits", "chroma"),
    [
        ("H264", "h264", "Constrained Baseline", "yuv420p", 8, "4:2:0"),
        ("HEVC", "hevc", "Main 10", "yuv420p10le", 10, "4:2:0"),
        ("PRORES", "prores", "HQ", "yuv422p10le", 10, "4:2:2"),
    ],
)
def test_codec_facts(
    synth: ModuleType, tmp_path: Path, kind: str, codec: str, profile: str, pixels: str,
    bits: int, chroma: str,
) -> None:  # fmt: skip
    """Codec, profile, format and depth are those of the file."""
    facts = probe(synth.write_clip(tmp_path / "a.mov", **getattr(synth, kind), frames=2))

    assert (facts.codec, facts.profile, facts.pixel_format) == (codec, profile, pixels)
    assert (facts.bits, facts.chroma, facts.container) == (bits, chroma, "mov")
    assert (facts.width, facts.height, facts.shown_size) == (192, 108, (192, 108))


def test_variable_rate(synth: ModuleType, tmp_path: Path) -> None:
    """Every time of a variable-rate clip is kept to the tick, and the rate is the mean."""
    gaps = [3003, 2997, 6006, 3003, 2900, 9009, 3003, 3003, 2950, 3003]
    times = np.cumsum([0, *gaps]).tolist()
    path = synth.write_clip(tmp_path / "v.mp4", frames=11, times=times)

    facts = probe(path)

    base = Fraction(facts.time_base)
    assert [t * base for t in facts.times] == [Fraction(t, 90000) for t in times]
    assert not facts.constant_rate
    assert Fraction(facts.rate) == Fraction(10) / Fraction(times[-1], 90000)
    assert facts.longest_gap == pytest.approx(9009 / 90000)


@pytest.mark.parametrize("rate", ["24000/1001", "25", "30000/1001", "30", "60000/1001", "120"])
def test_constant_rates_are_exact(synth: ModuleType, tmp_path: Path, rate: str) -> None:
    """Neighbouring standard rates are told apart although ticks round."""
    path = synth.write_clip(tmp_path / "r.mp4", rate=Fraction(rate), frames=50, size=(96, 54))

    facts = probe(path)

    assert (Fraction(facts.rate), facts.constant_rate) == (Fraction(rate), True)


# (a, b, c, d) of ISO/IEC 14496-12 with y downwards; the shown picture worked out by hand for a
# coded picture of one row "12" over "34".
@pytest.mark.parametrize(
    ("matrix", "shown"),
    [
        ((1, 0, 0, 1), "12/34"),
        ((0, 1, -1, 0), "31/42"),  # a quarter turn clockwise
        ((-1, 0, 0, -1), "43/21"),
        ((0, -1, 1, 0), "24/13"),
        ((-1, 0, 0, 1), "21/43"),  # left to right
        ((1, 0, 0, -1), "34/12"),  # top to bottom
        ((0, 1, 1, 0), "13/24"),  # transposed
        ((0, -1, -1, 0), "42/31"),
    ],
)
def test_every_way_up(
    synth: ModuleType, tmp_path: Path, matrix: tuple[int, int, int, int], shown: str
) -> None:
    """Eight display matrices, from the file to the picture that is shown."""
    path = synth.write_clip(tmp_path / "turned.mov", frames=1, matrix=matrix)

    facts = probe(path)
    picture = upright(np.array([[1, 2], [3, 4]]), facts.rotation, facts.mirrored)

    assert "/".join("".join(map(str, row)) for row in picture) == shown
    upended = matrix[0] == 0
    assert facts.shown_size == ((108, 192) if upended else (192, 108))


def test_slightly_off_matrix_is_a_quarter_turn() -> None:
    """Rounding in a camera's matrix does not make an odd angle."""
    assert orientation((0.001, 0.99998, -0.99998, 0.001)) == (90, False)


def test_edit_list_hides_frames(synth: ModuleType, tmp_path: Path) -> None:
    """Frames before the edit are counted as hidden and are not shown."""
    words = synth.H264 | {"options": {"preset": "ultrafast", "g": "50"}}
    path = synth.write_clip(tmp_path / "e.mp4", **words, frames=26, hidden=6)

    facts = probe(path)

    assert (facts.frames, facts.hidden_frames, facts.times[0]) == (20, 6, 0)
    assert facts.times == decoded_times(path)
    assert facts.damage == ()


def test_tags_of_both_places(synth: ModuleType, tmp_path: Path) -> None:
    """Container and bitstream are read apart, and neither covers the other."""
    both = synth.write_clip(tmp_path / "a.mp4", **synth.HEVC, frames=2, tags=synth.HLG)
    assert probe(both).container_tags == ColourTags(9, 18, 9, False)
    assert probe(both).bitstream_tags == ColourTags(9, 18, 9, False)

    synth.retag_container(both, 1, 1, 1)
    assert probe(both).container_tags == ColourTags(1, 1, 1, False)
    assert probe(both).bitstream_tags == ColourTags(9, 18, 9, False)

    synth.hide_container_tags(both)
    assert probe(both).container_tags == ColourTags()
    assert probe(both).bitstream_tags == ColourTags(9, 18, 9, False)


@pytest.mark.oracle
@pytest.mark.parametrize("tags", ["HLG", "BT709", "PHONE_LOG"])
@pytest.mark.parametrize("pixels", ["yuv422p10le", "yuv444p10le"])
def test_tags_in_the_open_are_what_the_decoder_finds(
    synth: ModuleType, tmp_path: Path, pixels: str, tags: str
) -> None:
    """ProRes tags read from the frame header equal those of the library's decoder, which is given
    the same file without its colour box."""
    profile = "4444" if pixels == "yuv444p10le" else "lt"
    words = {"codec": "prores_ks", "pixel_format": pixels, "options": {"profile": profile}}
    path = synth.write_clip(tmp_path / "a.mov", **words, frames=2, tags=getattr(synth, tags))
    facts = probe(path)
    if b"colr" in path.read_bytes():
        synth.hide_container_tags(path)

    with open_clip(path) as container:
        frame = next(container.decode(video=0))

    found = facts.bitstream_tags
    decoded = (frame.color_primaries, frame.color_trc, frame.colorspace)
    assert (found.primaries, found.transfer, found.matrix) == tuple(map(int, decoded))
    assert (facts.pixel_format, facts.width, facts.height) == (
        frame.format.name,
        frame.width,
        frame.height,
    )


def test_container_tags_do_not_leak_into_a_silent_bitstream(
    synth: ModuleType, tmp_path: Path
) -> None:
    """The library fills a silent bitstream with the container's tags; we do not."""
    path = synth.write_clip(tmp_path / "a.mp4", frames=2, tags=synth.HLG)
    silent = synth.write_clip(tmp_path / "b.mp4", frames=2, tags=synth.UNTAGGED)
    tagged = path.read_bytes()
    at = tagged.index(b"colr") - 4
    silent.write_bytes(_with_colour_box(silent.read_bytes(), tagged[at : at + 19]))

    with open_clip(silent) as container:
        frame = next(container.decode(video=0))
    facts = probe(silent)

    assert int(frame.color_trc) == 18  # what the library says
    assert facts.container_tags == ColourTags(9, 18, 9, False)
    assert (facts.bitstream_tags.primaries, facts.bitstream_tags.transfer) == (2, 2)


_AROUND = (b"stsd", b"stbl", b"minf", b"mdia", b"trak", b"moov")


def _with_colour_box(data: bytes, colr: bytes) -> bytes:
    """Inserts a box at the end of the sample entry; every box around it grows.

    For a file whose index is in front of the pictures the chunk offsets grow as well.
    """
    out = bytearray(data)
    entry = out.index(b"avc1", out.index(b"stsd")) - 4
    size = int.from_bytes(out[entry : entry + 4])
    out[entry + size : entry + size] = colr
    places = [entry, *(out.index(kind) - 4 for kind in _AROUND)]
    for at in places:
        grown = int.from_bytes(out[at : at + 4]) + len(colr)
        out[at : at + 4] = grown.to_bytes(4)
    at = out.index(b"stco") + 8
    count = int.from_bytes(out[at : at + 4])
    for k in range(count):
        place = at + 4 + 4 * k
        out[place : place + 4] = (int.from_bytes(out[place : place + 4]) + len(colr)).to_bytes(4)
    return bytes(out)


def test_full_range_and_untagged(synth: ModuleType, tmp_path: Path) -> None:
    """Full range is found; nothing said stays nothing said."""
    full = synth.write_clip(tmp_path / "f.mp4", frames=1, tags=(5, 6, 5, 2))
    none = synth.write_clip(tmp_path / "n.mov", **synth.PRORES, frames=1, tags=synth.PHONE_LOG)

    assert probe(full).bitstream_tags == ColourTags(5, 6, 5, True)
    assert probe(none).bitstream_tags == ColourTags(9, 2, 9, False)
    assert probe(none).container_tags == ColourTags()  # the muxer writes no half-known box


def test_sound_time_code_and_dates(synth: ModuleType, tmp_path: Path) -> None:
    """Five tracks, a time code and a date are read back; a silent clip has none."""
    path = synth.write_clip(
        tmp_path / "a.mov",
        frames=25,
        audio=5,
        timecode="01:02:03:04",
        metadata={"creation_time": "2026-03-04T05:06:07Z"},
    )

    facts = probe(path)

    assert [(t.codec, t.rate, t.channels) for t in facts.audio] == [("pcm_s16le", 48000, 1)] * 5
    assert sum(track.default for track in facts.audio) >= 1
    assert facts.audio[0].duration == pytest.approx(0.96, abs=1e-4)
    assert facts.timecode == "01:02:03:04"
    assert facts.created is not None
    assert facts.created.startswith("2026-03-04T05:06:07")
    assert probe(synth.write_clip(tmp_path / "b.mov", frames=2)).audio == ()


def test_places_are_never_kept(synth: ModuleType, tmp_path: Path) -> None:
    """Make, model and software are found by suffix; where the camera was is not kept."""
    path = synth.write_clip(
        tmp_path / "m.mov",
        frames=1,
        metadata={
            "com.example.camera.make": "Example",
            "com.example.camera.model": "One",
            "com.example.camera.software": "3.1",
            "com.example.camera.log-generation": "2",
            "com.example.location.ISO6709": "+51.5-000.1/",
            "com.example.location.make": "+51.5",
            "com.example.catalog": "a",
        },
    )

    facts = probe(path)

    assert facts.vendor == {"make": "Example", "model": "One", "software": "3.1"}
    assert facts.log_hints == {"log-generation": "2"}
    assert "51.5" not in repr(facts)


@pytest.mark.parametrize("share", [0.7, 0.4])
def test_cut_short(synth: ModuleType, tmp_path: Path, share: float) -> None:
    """A copy that was interrupted says how many frames are there."""
    path = synth.write_clip(tmp_path / "cut.mov", **synth.PRORES, frames=20)
    synth.cut_to(path, share)

    facts = probe(path)

    assert facts.frames_promised == 20
    assert 0 < facts.frames < 20
    assert facts.damage[0].code in ("damage.frames-missing", "damage.cut-short")
    got, _bad = count_decoded(path)
    assert got == facts.frames


def test_cut_exactly_between_packets(synth: ModuleType, tmp_path: Path) -> None:
    """The cut that no decoder notices is found in the index."""
    path = synth.write_clip(tmp_path / "cut.mov", **synth.PRORES, frames=20)
    synth.cut_between_packets(path, 13)

    facts = probe(path)

    assert (facts.frames, facts.frames_promised) == (13, 20)
    assert facts.damage != ()
    assert count_decoded(path) == (13, 0)


def test_nothing_left_of_the_pictures(synth: ModuleType, tmp_path: Path) -> None:
    """An index without pictures behind it is refused."""
    path = synth.write_clip(tmp_path / "cut.mov", **synth.PRORES, frames=3)
    with open_clip(path) as container:
        start = video_stream(container).index_entries[0].pos
    path.write_bytes(path.read_bytes()[: start + 10])

    with pytest.raises(ClipError, match="none of its frames"):
        probe(path)


def test_bad_packet_is_counted(synth: ModuleType, tmp_path: Path) -> None:
    """A packet that cannot be decoded is counted and does not end the clip."""
    path = synth.write_clip(tmp_path / "bad.mov", **synth.PRORES, frames=10)
    synth.damage_packet(path, 4)

    seen: list[int] = []
    assert count_decoded(path, seen.append) == (9, 1)
    assert seen[-1] == 9


def test_first_packet_damaged(synth: ModuleType, tmp_path: Path) -> None:
    """The tags are read from the next frame where the first is damaged."""
    path = synth.write_clip(tmp_path / "bad.mov", **synth.PRORES, frames=4, tags=synth.HLG)
    synth.damage_packet(path, 0)

    assert probe(path).bitstream_tags.transfer == 18


def test_hostile_counts_cost_nothing(synth: ModuleType, tmp_path: Path) -> None:
    """A time table that claims 2^31 frames is cut to the frames that exist."""
    path = synth.write_clip(tmp_path / "h.mp4", frames=10)
    data = bytearray(path.read_bytes())
    at = data.index(b"stts") + 12
    data[at : at + 4] = (2**31 - 1).to_bytes(4)
    path.write_bytes(data)

    assert probe(path).frames == 10


def test_one_frame(synth: ModuleType, tmp_path: Path) -> None:
    """A clip of one frame lasts one frame."""
    facts = probe(synth.write_clip(tmp_path / "one.mov", frames=1))

    assert (facts.frames, facts.constant_rate) == (1, True)
    assert facts.duration > 0


def test_fragmented(synth: ModuleType, tmp_path: Path) -> None:
    """A fragmented file has no index of its own; its packets are read instead."""
    import av

    source = synth.write_clip(tmp_path / "a.mp4", frames=20)
    path = tmp_path / "f.mp4"
    flags = {"movflags": "frag_keyframe+empty_moov+default_base_moof"}
    with av.open(str(source)) as given, av.open(str(path), "w", options=flags) as out:
        stream = out.add_stream_from_template(given.streams.video[0])
        for packet in given.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                out.mux(packet)

    facts = probe(path)

    assert facts.times == decoded_times(path)
    assert facts.frames == 20
    assert facts.container == "mp4, fragmented"


def test_path_is_relative_to_the_card(synth: ModuleType, tmp_path: Path) -> None:
    """Facts name the clip by its place on the card, with forward slashes."""
    (tmp_path / "DAY1").mkdir()
    path = synth.write_clip(tmp_path / "DAY1" / "a.mov", frames=1)

    assert probe(path, tmp_path).path == "DAY1/a.mov"


def real(real_clips: Path, name: str) -> ClipFacts:
    facts = probe(real_clips / name)
    assert facts.times == decoded_times(real_clips / name)
    assert facts.damage == ()
    return facts


def test_real_hlg_portrait_with_edit_list(real_clips: Path) -> None:
    """Nine of 86 coded frames are hidden; the picture is shown turned by a quarter."""
    facts = real(real_clips, "hlg-portrait-edit-list.mov")

    assert (facts.frames, facts.hidden_frames) == (77, 9)
    assert (facts.rotation, facts.mirrored, facts.shown_size) == (90, False, (1080, 1920))
    assert facts.bitstream_tags == ColourTags(9, 18, 9, False)
    assert facts.container_tags == ColourTags(9, 18, 9, None)


def test_real_pq_variable_rate(real_clips: Path) -> None:
    """The bitstream says PQ, the container says nothing, and the rate varies."""
    facts = real(real_clips, "pq-variable-rate.mp4")

    assert facts.bitstream_tags == ColourTags(9, 16, 9, False)
    assert facts.container_tags == ColourTags()
    assert not facts.constant_rate
    assert facts.longest_gap == pytest.approx(8992 / 90000)


def test_real_sdr_uhd(real_clips: Path) -> None:
    """8-bit full range with 625-line tags, at 60 frames a second on a camera's own clock."""
    facts = real(real_clips, "sdr-portrait-uhd-60.mp4")

    assert facts.bitstream_tags == ColourTags(5, 6, 5, True)
    assert (facts.rate, facts.constant_rate) == ("60/1", True)
    assert (facts.rotation, facts.shown_size) == (90, (2160, 3840))

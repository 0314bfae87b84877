"""A master without a record is verified anew by what its grade means now."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import msgspec
import pytest
from tiny_masters import spec

from evenhand.colourmath.encodings import named
from evenhand.grade.compiled import compile_grade
from evenhand.grade.document import Grade, Levelling
from evenhand.kernels.frame import PlaneFormat
from evenhand.measure.timing import ConformPlan, conform
from evenhand.media.analysis import sampled_signals
from evenhand.media.anew import graded_samples, verify_anew
from evenhand.media.encode import MasterOrder, MasterWriter
from evenhand.media.marks import MasterMark, spec_digest
from evenhand.media.pipeline import Grading, write_pictures
from evenhand.media.probe import probe
from evenhand.media.sound import plan_sound
from evenhand.media.spec import plan_picture
from evenhand.media.verify import Verification

pytestmark = pytest.mark.media

FRAMES = 13


def prepared(clip: Path, name: str, stops: float = 0.0) -> tuple[MasterOrder, Grading, ConformPlan]:
    """What is to be made of a clip by a packaged spec, graded by so many stops."""
    facts = probe(clip)
    wanted = spec(name)
    timing = conform(facts.times, wanted.frame_rate, Fraction(facts.time_base))
    grade = Grade(named("phone-log-1"), Levelling(stops=stops), output_transform="plain-sdr")
    if wanted.encoding == "hlg":
        grade = msgspec.structs.replace(grade, output_transform="hlg-1000")
    compiled = compile_grade(grade, sampled_signals(clip, facts, grade.encoding), size=17)
    mark = MasterMark(
        "f", "A001", compiled.digest, wanted.name, spec_digest(wanted), "draft", "0.1.0",
        "2026-03-04T05:06:07Z",
    )  # fmt: skip
    plan = plan_picture(wanted, *facts.shown_size)
    sound = plan_sound(wanted.sound, clip, facts.audio, Fraction(0), len(timing.index) / 25)
    order = MasterOrder(wanted, plan, len(timing.index), sound=sound, mark=mark)
    target = PlaneFormat(wanted.bits, 2, 2 if wanted.chroma == "4:2:0" else 1)
    table = compiled.table()
    grading = Grading(clip, facts, grade.encoding, table, target, plan.width, plan.height)
    return order, grading, timing


def made(target: Path, clip: Path, name: str, stops: float = 0.0) -> MasterWriter:
    """Make a master of a clip."""
    order, grading, timing = prepared(clip, name, stops)
    with MasterWriter(target, order) as writer:
        write_pictures(grading, timing, writer)
    return writer


@pytest.fixture
def clip(synth: ModuleType, tmp_path: Path) -> Path:
    """A clip of ProRes with sound."""
    path = tmp_path / "A001.mov"
    tags = synth.PHONE_LOG
    return Path(synth.write_clip(path, **synth.PRORES, tags=tags, frames=FRAMES, audio=2))


def names(found: Verification) -> set[str]:
    """The checks that failed."""
    return {check.name for check in found.failures}


@pytest.mark.parametrize(
    ("name", "suffix"), [("web-720", "mp4"), ("web-uhd-hlg", "mp4"), ("archive", "mov")]
)
def test_a_good_master_passes_as_when_it_was_made(
    clip: Path, tmp_path: Path, name: str, suffix: str
) -> None:
    """Every check but that of the order of all frames, with the same figures."""
    target = tmp_path / f"a.{suffix}"
    then = made(target, clip, name).verification
    before = target.read_bytes()
    now = verify_anew(target, *prepared(clip, name))

    assert then is not None
    assert now.failures == ()
    assert now.compared_frames == (0, 6, 12)
    assert [c for c in then.checks if c.name != "order of frames"] == list(now.checks)
    assert target.read_bytes() == before


def test_the_frames_graded_anew_are_those_that_were_encoded(
    synth: ModuleType, tmp_path: Path
) -> None:
    """Bit for bit, with their dither, at a variable rate in which pictures are shown again."""
    clip = tmp_path / "A001.mov"
    ticks = [0, 1800, 3600, 14400, 18000]
    synth.write_clip(clip, **synth.PRORES, tags=synth.PHONE_LOG, frames=5, times=ticks)
    order, grading, timing = prepared(clip, "web-720")
    eight = replace(grading, target=PlaneFormat(8, 2, 2))
    wanted = spec(codec="h264", codec_tag="avc1", pixel_format="yuv420p", profile="High")
    level = msgspec.structs.replace(wanted.quality["draft"], encoder={"preset": "veryfast"})
    wanted = msgspec.structs.replace(wanted, quality={"draft": level})
    order = replace(order, spec=wanted)
    with MasterWriter(tmp_path / "a.mp4", order) as writer:
        write_pictures(eight, timing, writer)
    anew = graded_samples(order, eight, timing)

    assert timing.repeated > 0
    assert set(anew) == set(order.compared)
    for number, planes in anew.items():
        for plane, encoded in zip(planes, writer._samples[number], strict=True):
            assert (plane == encoded).all()


def test_the_picture_of_another_grade_is_found(clip: Path, tmp_path: Path) -> None:
    """A file with the right mark whose picture is a stop brighter."""
    order, grading, timing = prepared(clip, "web-720")
    _, brighter, _ = prepared(clip, "web-720", stops=1.0)
    target = tmp_path / "a.mp4"
    with MasterWriter(target, order) as writer:
        write_pictures(brighter, timing, writer)

    assert names(verify_anew(target, order, grading, timing)) == {"PSNR, luma", "PSNR, chroma"}


def test_a_master_of_an_older_grade_is_found(clip: Path, tmp_path: Path) -> None:
    """Mark and picture both."""
    made(tmp_path / "a.mp4", clip, "web-720", stops=1.0)
    found = verify_anew(tmp_path / "a.mp4", *prepared(clip, "web-720"))

    assert names(found) == {"mark", "PSNR, luma", "PSNR, chroma"}


@pytest.mark.parametrize("share", [0.4, 0.95])
def test_a_file_that_was_cut_is_found(clip: Path, tmp_path: Path, share: float) -> None:
    """Its mark may still be there; its pictures are not."""
    target = tmp_path / "a.mp4"
    made(target, clip, "web-720")
    data = target.read_bytes()
    target.write_bytes(data[: int(len(data) * share)])

    assert {"boxes", "readable"} & names(verify_anew(target, *prepared(clip, "web-720")))


def test_a_master_without_its_sound_is_found(clip: Path, synth: ModuleType, tmp_path: Path) -> None:
    """The clip has two tracks, and an archive carries all of them."""
    order, grading, timing = prepared(clip, "archive")
    silent = replace(order, sound=None)
    with MasterWriter(tmp_path / "a.mov", silent) as writer:
        write_pictures(grading, timing, writer)

    assert names(verify_anew(tmp_path / "a.mov", order, grading, timing)) == {"audio tracks"}

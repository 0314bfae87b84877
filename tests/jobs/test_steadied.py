"""Still, scopes, report and master of a clip whose light changed by itself show one picture."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from types import ModuleType
from typing import Any

import av
import cv2
import msgspec
import numpy as np
import pytest
from numpy.typing import NDArray

from evenhand.colourmath.ycbcr import to_rgb
from evenhand.grade.compiled import compile_grade
from evenhand.grade.document import Levelling, Ripple, Steadying
from evenhand.jobs.identify import scan
from evenhand.jobs.master import MasterOptions, MasterResult, master
from evenhand.jobs.picture import scopes, still
from evenhand.jobs.report import report
from evenhand.kernels.frame import PlaneFormat
from evenhand.media.analysis import frame_on_screen, sampled_signals
from evenhand.media.pipeline import Grading, graded
from evenhand.media.probe import probe
from evenhand.shoot import store
from evenhand.shoot.history import Origin

pytestmark = [pytest.mark.media, pytest.mark.slow]
HEIGHT, WIDTH = 108, 192
FRAMES = 16
DRIFT = Steadying(
    (0.0, 0.2, 0.6), (0.0, 0.45, -0.3), (0.0, 20.0, -12.0), (0.0, 0.004, -0.003), clip=0.95
)
# At 25 frames a second 110 Hz runs through the picture; 100 Hz would stand still in it.
RIPPLE = Ripple(hertz=110.0, readout=0.016, cosine=0.12, sine=-0.2)
TIMES = tuple(Fraction(k, 25) for k in (0, 3, 5, 9, 15))
# What coding a master, at next to no loss, makes of a mean over 16 pixels, in codes of a channel.
# Before coding it is 0.2 at most, and rounding Cb or Cr to a code alone makes 0.9.
LOSS = 6.0
Picture = NDArray[np.float64]


def columns(number: int) -> tuple[np.ndarray, ...]:
    """Eight fields of different brightness and colour, soft enough to be coded without loss."""
    fields = np.repeat(np.array([300, 380, 450, 520, 600, 400, 480, 350]), WIDTH // 8)
    blue = np.repeat(np.array([512, 500, 524, 516, 508, 490, 512, 520]), WIDTH // 16)
    luma = np.broadcast_to(fields, (HEIGHT, WIDTH)).astype(np.uint16)
    chroma = np.broadcast_to(blue, (HEIGHT, WIDTH // 2)).astype(np.uint16)
    return luma, chroma, (1024 - chroma).astype(np.uint16)


def shot(synth: ModuleType, place: Path, steadying: Steadying | None, **recipe: Any) -> Path:
    """Makes a clip, graded plainly with a steadying; the folder of its shoot."""
    card, folder = place / "card", place / "card.shoot"
    card.mkdir()
    words = {**synth.PRORES, "tags": synth.PHONE_LOG, "picture": columns, **recipe}
    synth.write_clip(card / "A001.mov", frames=FRAMES, **words)
    scan(card, folder, {"A001": "phone-log-1"})
    steady_by(folder, steadying)
    return folder


def made(synth: ModuleType, place: Path, spec: str, steadying: Any, **recipe: Any) -> Path:
    """The same, with a master beside it."""
    folder = shot(synth, place, steadying, **recipe)
    (place / "quick.toml").write_text(spec.replace('crf = "14"', 'crf = "1"'), "utf-8")
    assert mastered(folder).undone == ()
    return folder


def steady_by(folder: Path, steadying: Steadying | None) -> None:
    levelling = Levelling(stops=0.3, steadying=steadying)
    changed = {"levelling": levelling, "output_transform": "plain-sdr"}
    store.change(
        folder,
        Origin("level"),
        lambda shoot: shoot.with_clips(
            *(msgspec.structs.replace(c, **changed) for c in shoot.clips)
        ),
    )


def mastered(folder: Path) -> MasterResult:
    options = MasterOptions((str(folder.parent / "quick.toml"),), folder.parent / "out")
    return master(folder, options)


@pytest.fixture(scope="module")
def drifting(
    synth: ModuleType, tmp_path_factory: pytest.TempPathFactory, quick_spec: Callable[..., str]
) -> Path:
    """A shoot of one clip whose exposure and white drift, and its master beside it."""
    return made(synth, tmp_path_factory.mktemp("drifting"), quick_spec("quick"), DRIFT)


def decoded(folder: Path) -> Iterator[Picture]:
    """R'G'B' of the frames of the shoot's only master, chroma repeated."""
    [path] = (folder.parent / "out").glob("*.mp4")
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            planes = [
                np.frombuffer(p, np.uint16).reshape(p.height, -1)[:, : p.width].astype(float)
                for p in frame.planes
            ]
            across = [np.repeat(np.repeat(c, 2, 0), 2, 1) for c in planes[1:]]
            yield to_rgb(np.stack([planes[0], *across], -1), 10, "bt709", "narrow")


def still_at(folder: Path, seconds: Fraction, to: Path, which: Any = "after") -> Picture:
    still(folder, "A001", lambda _rate: seconds, to, which, overwrite=True)
    read = cv2.imread(str(to), cv2.IMREAD_UNCHANGED)
    assert read is not None
    return read[..., ::-1] / 65535.0


def boxes(picture: Picture) -> Picture:
    """Means of the middles of boxes of 12x12 pixels, half a field wide: no edge is in them."""
    height, width = picture.shape[0] // 12, picture.shape[1] // 12
    split = picture[: height * 12, : width * 12].reshape(height, 12, width, 12, 3)
    return split[:, 4:8, :, 4:8].mean((1, 3))


def far_apart(one: Picture, other: Picture) -> float:
    """The greatest difference of any channel of what boxes show, in ten-bit codes."""
    return float(876 * np.abs(boxes(one) - boxes(other)).max())


def test_a_still_is_the_frame_of_the_master_while_exposure_and_white_drift(
    drifting: Path, tmp_path: Path
) -> None:
    """At five times, the reference moment and one after the curve has crossed zero among them.

    Coding loses some codes of a channel; the drift moves the picture by many times that.
    """
    pictures = list(decoded(drifting))
    first = still_at(drifting, TIMES[0], tmp_path / "a.png")

    for seconds in TIMES:
        graded = still_at(drifting, seconds, tmp_path / "a.png")

        assert far_apart(graded, pictures[int(seconds * 25)]) < LOSS
        if 0 < seconds < Fraction(9, 25):  # stops cross zero between 0.2 and 0.6 s
            assert far_apart(graded, first) > 4 * LOSS


@pytest.mark.parametrize(
    "matrix", [(0, 1, -1, 0), (0, -1, 1, 0)], ids=["90 clockwise", "90 anticlockwise"]
)
def test_a_turned_clip_loses_the_ripple_of_its_stored_rows(
    synth: ModuleType,
    quick_spec: Callable[..., str],
    tmp_path: Path,
    matrix: tuple[int, int, int, int],
) -> None:
    """The waves lie across a picture that was turned: still and master take the same ones out.

    The picture has no ripple, so that taking one out puts its inverse in: it must run from left to
    right, and not from top to bottom.
    """
    steadying = Steadying(ripple=RIPPLE)
    folder = made(synth, tmp_path, quick_spec("quick"), steadying, matrix=matrix)
    pictures = list(decoded(folder))
    assert pictures[0].shape == (WIDTH, HEIGHT, 3)

    for seconds in TIMES[:4]:
        graded = still_at(folder, seconds, tmp_path / "a.png")
        assert far_apart(graded, pictures[int(seconds * 25)]) < LOSS
    field = graded[WIDTH // 8 + 4 : WIDTH // 4 - 4]
    assert 876 * np.ptp(field.mean(axis=(0, 2))) > 4 * LOSS  # along the stored rows
    assert 876 * np.ptp(field.mean(axis=(1, 2))) < 1.0  # across them


@pytest.mark.parametrize("matrix", [(0, 1, -1, 0), (-1, 0, 0, -1)], ids=str)
def test_before_coding_the_picture_is_the_still(
    synth: ModuleType, tmp_path: Path, matrix: tuple[int, int, int, int]
) -> None:
    """What goes to the encoder, drift and ripple taken out, is within half a code of the still."""
    steadying = msgspec.structs.replace(DRIFT, ripple=RIPPLE)
    folder = shot(synth, tmp_path, steadying, matrix=matrix)
    path, fine = tmp_path / "card" / "A001.mov", PlaneFormat(16, 1, 1)
    grade, facts = store.load(folder).grade(store.load(folder).clip("A001")), probe(path)
    compiled = compile_grade(grade, sampled_signals(path, facts, grade.encoding, steadying))
    width, height = facts.shown_size
    grading = Grading(
        clip=path, facts=facts, encoding=grade.encoding, table=compiled.table(), target=fine,
        width=width, height=height, steadying=steadying,
    )  # fmt: skip

    for seconds in TIMES:
        frame = frame_on_screen(path, facts, seconds)
        planes = graded(grading, frame, 0, lambda: fine.empty(height, width))
        picture = to_rgb(np.stack([p / 64.0 for p in planes], -1), 10, "bt709", "narrow")
        assert far_apart(still_at(folder, seconds, tmp_path / "a.png"), picture) < 0.5


def test_before_is_as_shot_and_scopes_tell_both(drifting: Path, tmp_path: Path) -> None:
    """A still of before does not move with the drift; scopes of after do, as the still does."""
    befores = [still_at(drifting, t, tmp_path / "b.png", "before") for t in TIMES[:3]]
    afters = [still_at(drifting, t, tmp_path / "a.png") for t in TIMES[:3]]
    told = [scopes(drifting, "A001", lambda _rate, t=t: t) for t in TIMES[:3]]

    for other, reading in zip(befores[1:], told[1:], strict=True):
        assert far_apart(befores[0], other) < 1.0
        assert reading.before.luma_mean == pytest.approx(told[0].before.luma_mean, abs=0.05)
    for after, reading in zip(afters, told, strict=True):
        mean = 100 * float((after @ [0.2126, 0.7152, 0.0722]).mean())
        assert reading.after.luma_mean == pytest.approx(mean, abs=0.2)
    assert told[0].after.luma_mean - told[2].after.luma_mean > 3.0


def test_the_report_shows_the_steadied_picture(drifting: Path, tmp_path: Path) -> None:
    """On the page of a clip with drift the picture before is as shot, and the one after is not."""
    steady = pictures_of(drifting, tmp_path / "one.html")
    steady_by(drifting, None)
    plain = pictures_of(drifting, tmp_path / "two.html")
    steady_by(drifting, DRIFT)

    assert len(steady) == len(plain) >= 2
    assert steady[0] == plain[0]
    assert steady[1] != plain[1]


def pictures_of(folder: Path, page: Path) -> list[str]:
    """The photographs of a report, as they are coded."""
    report(folder, page)
    text = page.read_text("utf-8")
    return [part.split('"', 1)[0] for part in text.split("data:image/jpeg;base64,")[1:]]


def test_a_master_of_another_steadying_is_made_anew(drifting: Path) -> None:
    """A master that was made before its clip was steadied otherwise is not kept."""
    assert len(mastered(drifting).kept) == 1
    steady_by(drifting, msgspec.structs.replace(DRIFT, clip=0.9))

    again = mastered(drifting)

    assert (len(again.made), len(again.kept)) == (1, 0)

"""Looks are made from documents, pairs and stills, written whole, and judged."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from evenhand.errors import NameTakenError, UsageError
from evenhand.grade.fitting import FitError, read
from evenhand.grade.looks import LOOKS
from evenhand.grade.recipe import RecipeError, parse
from evenhand.jobs.lookmake import make_from_document, make_from_pair, make_from_still
from evenhand.jobs.looks import find_look
from evenhand.luts.cube import read as read_cube
from evenhand.luts.declared import declared_in
from evenhand.measure.beforeafter import PairError
from evenhand.media.picturefile import read_picture
from evenhand.media.still import write_still

DOCUMENT = (
    '# mine\nformat = 1\nname = "loaf"\ntitle = "Loaf"\npurpose = "To try."\n'
    '[[moves]]\nmove = "tone"\ntoe = 0.3\ncontrast = 1.2\n[effects.grain]\nstops = 0.05\n'
)


def scene(seed: int = 1) -> np.ndarray:
    """A picture (240, 320, 3) of many colours and some edges."""
    rng = np.random.default_rng(seed)
    tone = np.linspace(0.15, 0.85, 320)[None, :, None] * np.ones((240, 320, 3))
    for _ in range(120):
        centre = (int(rng.integers(0, 320)), int(rng.integers(0, 240)))
        colour = (0.5 + 0.35 * (rng.random(3) - 0.5) + 0.3 * (rng.random() - 0.5)).tolist()
        cv2.circle(tone, centre, int(rng.integers(8, 30)), colour, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(tone, (0, 0), 3).clip(0.01, 0.99)


@pytest.fixture
def stills(tmp_path: Path) -> tuple[Path, Path]:
    """A frame before and after the look daybreak."""
    before, after = tmp_path / "before.png", tmp_path / "after.tif"
    write_still(before, scene())
    write_still(after, LOOKS["daybreak"].apply(scene()))
    return before, after


def test_a_document_is_checked_and_written_canonically(tmp_path: Path) -> None:
    """Comments go, order is fixed, health comes with it, and the effects are told."""
    source, target = tmp_path / "mine.toml", tmp_path / "loaf.toml"
    source.write_text(DOCUMENT)
    made = make_from_document(source, target)

    assert parse(target.read_text()) == parse(DOCUMENT)
    assert "#" not in target.read_text()
    assert made.kind == "moves"
    assert made.moves == ("contrast 1.20 about 50% signal, toe 0.30, shoulder 0.00",)
    assert made.effects[0].startswith("grain: 0.05 stops")
    assert made.health.look == "loaf"
    assert find_look(str(target)).digest == made.digest


def test_a_document_with_a_slip_is_refused_by_its_path(tmp_path: Path) -> None:
    """Nothing is written."""
    source = tmp_path / "mine.toml"
    source.write_text(DOCUMENT.replace("contrast", "contrats"))

    with pytest.raises(RecipeError, match=r"mine.toml: move 1 .tone.: unknown key contrats"):
        make_from_document(source, tmp_path / "loaf.toml")
    assert not (tmp_path / "loaf.toml").exists()


def test_a_pair_gives_a_table_that_is_the_look(tmp_path: Path, stills: tuple[Path, Path]) -> None:
    """The written table, read back, is within 1.5 CIEDE2000 at p95 of its own pictures."""
    target = tmp_path / "like-daybreak.cube"
    made = make_from_pair(*stills, "like-daybreak", target)
    found = read_cube(target.read_bytes())

    assert made.residual is not None
    assert made.residual.p95 < 1.5
    assert made.residual.untouched_median > 2.0
    assert made.seen is not None
    assert 0.02 < made.seen < 0.5
    assert made.mix is None
    assert made.warnings == ()
    assert made.health.look == "like-daybreak"
    assert found.three is not None
    assert found.three.size == 33
    assert declared_in(found.comments) == ("bt709-display", "bt709-display")
    off = read(found.three.values, scene().reshape(-1, 3)) - LOOKS["daybreak"].apply(
        scene().reshape(-1, 3)
    )
    assert np.quantile(np.abs(off), 0.95) < 0.02
    assert find_look(str(target)).look.space == "bt709-display"


@pytest.mark.slow
def test_what_is_more_than_a_look_is_said(tmp_path: Path, stills: tuple[Path, Path]) -> None:
    """Half of the picture brightened by a mask: the residual tells."""
    after = LOOKS["daybreak"].apply(scene())
    rows = np.arange(240)[:, None, None]
    write_still(tmp_path / "masked.png", after * np.where(rows // 24 % 2, 1.0, 0.6))

    made = make_from_pair(stills[0], tmp_path / "masked.png", "masked", tmp_path / "m.cube")

    assert any("more than a look" in warning for warning in made.warnings)


@pytest.mark.slow
def test_a_black_and_white_pair_says_its_mix(tmp_path: Path, stills: tuple[Path, Path]) -> None:
    """The shares of light of soot, and a neutral table."""
    write_still(tmp_path / "bw.png", LOOKS["soot"].apply(scene()))
    made = make_from_pair(stills[0], tmp_path / "bw.png", "bw", tmp_path / "bw.cube")

    assert made.mix == pytest.approx((0.50, 0.44, 0.06), abs=0.06)
    assert made.moves[0].startswith("grey from ")
    assert made.health.black_and_white


def test_a_still_gives_a_recipe_that_comes_nearer(
    tmp_path: Path, stills: tuple[Path, Path]
) -> None:
    """The gaps together get smaller, none grows by over 0.05, and the document can be read."""
    write_still(tmp_path / "wish.png", LOOKS["flour"].apply(scene(2)))
    target = tmp_path / "wish.toml"
    made = make_from_still(stills[0], tmp_path / "wish.png", "wish", target)

    assert parse(target.read_text()).moves == made.moves
    assert sum(abs(gap.after) for gap in made.gaps) < 0.8 * sum(
        abs(gap.before) for gap in made.gaps
    )
    assert all(abs(gap.after) < abs(gap.before) + 0.05 for gap in made.gaps)


def test_pictures_that_cannot_be_a_pair_are_refused(
    tmp_path: Path, stills: tuple[Path, Path]
) -> None:
    """Another frame; a flat wall; a name that no file may have; a place that is taken."""
    write_still(tmp_path / "other.png", scene(5))
    write_still(tmp_path / "wall.png", np.full((240, 320, 3), 0.4))
    target = tmp_path / "x.cube"

    with pytest.raises(PairError, match="same frame"):
        make_from_pair(stills[0], tmp_path / "other.png", "x", target)
    with pytest.raises((FitError, PairError)):
        make_from_pair(tmp_path / "wall.png", tmp_path / "wall.png", "x", target)
    with pytest.raises(RecipeError, match="name is"):
        make_from_pair(*stills, "../x", target)
    with pytest.raises(UsageError, match=r"End the name with \.cube"):
        make_from_pair(*stills, "x", tmp_path / "x.txt")
    target.write_text("mine")
    with pytest.raises(NameTakenError):
        make_from_pair(*stills, "x", target)
    assert target.read_text() == "mine"


@pytest.mark.slow
def test_pictures_are_read_as_they_were_written(tmp_path: Path) -> None:
    """16-bit PNG and TIFF to half a code, 8-bit JPEG near it; red stays red."""
    picture = scene()
    for name in ("a.png", "a.tif"):
        write_still(tmp_path / name, picture)
        assert read_picture(tmp_path / name) == pytest.approx(picture, abs=0.51 / 65535)
    cv2.imwrite(str(tmp_path / "a.jpg"), (picture[..., ::-1] * 255 + 0.5).astype(np.uint8))
    assert np.abs(read_picture(tmp_path / "a.jpg") - picture).mean() < 0.01


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "cannot be read"),
        (b"plain text", "no picture that is read here"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 40, "does not decode"),
        (b"", "no picture"),
    ],
)
def test_what_is_no_picture_is_refused(tmp_path: Path, content: bytes | None, said: str) -> None:
    """With its path and what to give instead."""
    path = tmp_path / "p.png"
    if content is not None:
        path.write_bytes(content)

    with pytest.raises(UsageError, match=said):
        read_picture(path)


def test_a_still_of_another_light_is_refused(tmp_path: Path) -> None:
    """HLG and PQ codes are not those of a BT.709 display."""
    for kind in ("hlg", "pq"):
        write_still(tmp_path / f"{kind}.png", scene(), kind)  # type: ignore[arg-type]
        with pytest.raises(UsageError, match="HLG or PQ"):
            read_picture(tmp_path / f"{kind}.png")

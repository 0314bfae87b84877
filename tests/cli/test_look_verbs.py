"""Checking, making and comparing looks, as a person calls the verbs."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from evenhand.media.still import write_still

DOCUMENT = (
    'format = 1\nname = "loaf"\ntitle = "Loaf"\npurpose = "To try."\n'
    '[[moves]]\nmove = "tone"\ncontrast = 1.2\n'
)


def cube(path: Path, curve: np.ndarray) -> Path:
    """A look that puts each channel through a curve of 17 values."""
    nodes = range(len(curve))
    rows = [
        f"{curve[r]:.5f} {curve[g]:.5f} {curve[b]:.5f}" for b in nodes for g in nodes for r in nodes
    ]
    path.write_text(f"LUT_3D_SIZE {len(curve)}\n" + "\n".join(rows) + "\n")
    return path


@pytest.fixture
def dip(tmp_path: Path) -> Path:
    """A look whose greys fall in the middle."""
    along = np.linspace(0, 1, 17)
    return cube(tmp_path / "dip.cube", along - 0.16 * np.exp(-(((along - 0.5) / 0.08) ** 2)))


def test_a_good_look_passes(call) -> None:
    """A figure at each strength, its limit, and what it means; status 0."""
    said = call("look", "check", "wheat")

    assert said.status == 0, said.err
    row = next(line for line in said.out.splitlines() if line.startswith("steepest tone"))
    assert "over 2.2, 3" in row
    assert "passes" in row
    assert said.out.splitlines()[0].split()[1:6] == ["50", "%", "70", "%", "100"]
    assert said.out.splitlines()[-1] == "wheat: 50 % passes, 70 % passes, 100 % passes"


def test_a_faulty_look_fails_and_says_what_to_do(call, dip: Path, tmp_path: Path) -> None:
    """Status 1, the fault in words with its remedy, and the page all the same."""
    said = call("look", "check", dip, "--to", "checks")

    assert said.status == 1
    assert "✕ order of greys: a lighter grey comes out darker than its neighbour." in said.out
    assert "Make the tone curve rise everywhere" in said.out
    assert (tmp_path / "checks" / "dip.check.html").read_text("utf-8").endswith("</html>")
    again = call("look", "check", dip, "--to", "checks")
    assert again.status == 1
    assert "--overwrite" in again.err


def test_a_look_declared_for_what_it_is_not_fails(call, tmp_path: Path) -> None:
    """Placing is part of the check: a creative look declared a conversion from log."""
    along = np.linspace(0, 1, 17)
    look = cube(tmp_path / "mild.cube", along + 0.03 * np.sin(2 * np.pi * along))
    order = ("look", "check", look, "--space")

    assert call(*order, "bt709-display").status == 0
    wrong = call(*order, "phone-log-1", "--gives", "bt709-display", "--strength", "2%")
    assert wrong.out.splitlines()[-2] == "mild: 2 % passes"
    assert wrong.status == 1
    assert "greys stay where they are" in wrong.out


def test_a_check_is_one_document(call, dip: Path) -> None:
    """With --json: health, kind and placing; messages stay off stdout."""
    said = call("look", "check", dip, "--strength", "30%", "--strength", "100%", "--json")
    found = json.loads(said.out)

    assert said.status == 1
    assert found["fails"] is True
    assert [part["strength"] for part in found["health"]["strengths"]] == [0.3, 1.0]
    assert found["facts"]["declared_by"] == "nobody"


def test_a_look_is_made_from_a_document(call, tmp_path: Path) -> None:
    """Checked, written canonically, told with its moves and its health."""
    (tmp_path / "mine.toml").write_text(DOCUMENT)
    said = call("look", "make", "mine.toml", "--to", "loaf.toml")

    assert said.status == 0, said.err
    assert (tmp_path / "loaf.toml").read_text().startswith("format = 1")
    assert "contrast 1.20" in said.out
    assert "loaf: 50 % passes" in said.out
    assert call("look", "make", "mine.toml", "--to", "loaf.toml").status == 1


def test_a_look_is_made_from_a_pair_and_towards_a_still(call, tmp_path: Path) -> None:
    """The residual and the share of the cube that was seen; what still differs."""
    rng = np.random.default_rng(4)
    scene = np.repeat(np.repeat(rng.random((12, 16, 3)), 12, 0), 12, 1) * 0.8 + 0.1
    write_still(tmp_path / "a.png", scene)
    write_still(tmp_path / "b.png", scene**1.15)
    pair = call("look", "make", "--before", "a.png", "--after", "b.png", "--to", "mine.cube")
    wish = call("look", "make", "--like", "b.png", "--picture", "a.png", "--to", "to-it.toml")

    assert "off by CIEDE2000" in pair.out
    assert "% of the cube" in pair.out
    assert (tmp_path / "mine.cube").stat().st_size > 100_000
    assert wish.status == 0, wish.err
    assert "differs in" in wish.out
    assert "to-it: 50 %" in wish.out


@pytest.mark.parametrize(
    ("order", "says"),
    [
        (("make", "--to", "x.toml"), "name one way"),
        (("make", "--before", "a.png", "--to", "x.cube"), "name one way"),
        (("make", "a.toml", "--like", "b.png", "--picture", "c.png", "--to", "x"), "name one way"),
        (("make", "a.toml"), "--to"),
        (("check",), "LOOK"),
        (("check", "weat"), "Did you mean wheat?"),
        (("check", "wheat", "--strength", "170%"), "170%"),
        (("check", "wheat", "--space", "acescct"), "says itself"),
        (("sheet",), "--to"),
        (("sheet", "wheat", "--format", "gif", "--to", "s"), "gif"),
        (("sheet", "wheat", "--clip", "A001@soon", "--to", "s"), "a time is written"),
        (("show", "wheat", "--explain"), "--explain --to FILE.html"),
        (("show", "wheat", "--to", "x.html"), "--explain --to FILE.html"),
        (("show", "wheat", "--explain", "--to", "x.pdf"), ".html"),
        (("wall", "A001"), "--to"),
        (("weave",), "check, make, sheet, wall"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_wrong_usage_is_one_line_and_status_2(
    call, order: tuple[str, ...], says: str, tmp_path: Path
) -> None:
    """It says what is meant, and nothing is written."""
    before = set(tmp_path.iterdir())
    said = call("look", *order)

    assert said.status == 2, said.out
    assert len(said.lines) == 1
    assert says in said.err
    assert set(tmp_path.iterdir()) - before <= {tmp_path / "s"}


def test_a_sheet_is_written_in_the_formats_asked_for(call, tmp_path: Path) -> None:
    """And its table says each look's health."""
    said = call("look", "sheet", "rye", "--strength", "70%", "--format", "pdf", "--to", "sheets")

    assert said.status == 0, said.err
    assert [f.name for f in (tmp_path / "sheets").iterdir()] == ["looks.pdf"]
    assert "rye       70 %  passes" in said.out
    assert call("look", "sheet", "rye", "--format", "pdf", "--to", "sheets").status == 1


def test_a_page_explains_a_look(call, tmp_path: Path) -> None:
    """Its place is told."""
    said = call("look", "show", "rye", "--explain", "--to", "rye.html")

    assert said.out == "page: rye.html\n"
    assert (tmp_path / "rye.html").stat().st_size > 50_000


@pytest.mark.media
def test_a_wall_is_written_and_its_lines_work(call, log_clip: Path, tmp_path: Path) -> None:
    """A line that it prints puts the look on the clip."""
    call("scan", log_clip.parent, "--encoding", "A001=phone-log-1")
    said = call("look", "wall", "A001", "--at", "3f", "--strength", "60%", "--to", "wall.png")
    line = next(text for text in said.out.splitlines() if "use rye " in text)
    used = call(*line.split()[1:])

    assert said.status == 0, said.err
    assert (tmp_path / "wall.png").read_bytes().startswith(b"\x89PNG")
    assert used.out.startswith("rye at 60 % on A001")
    assert call("look", "wall", "A009", "--to", "w.png").status == 2

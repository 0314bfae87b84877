"""Sheets, walls and pages of looks, made from looks and clips as they are."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from evenhand.errors import NameTakenError, UsageError
from evenhand.grade.look_export import export_table
from evenhand.grade.looks import LOOKS, blend
from evenhand.jobs.identify import scan
from evenhand.jobs.look import LookOptions, use_look
from evenhand.jobs.lookcheck import check_named
from evenhand.jobs.lookexplain import explain_look
from evenhand.jobs.looks import find_look
from evenhand.jobs.looksheet import SheetWishes, look_sheet, sheet_file, write_sheet
from evenhand.jobs.lookviews import clip_view, demo_views, made_views, ready
from evenhand.jobs.lookwall import write_wall
from evenhand.measure.looks.health import health_of_look

START = lambda rate: Fraction(0)  # noqa: E731
LOG_LOOK = (
    'format = 1\nname = "bran"\ntitle = "Bran"\npurpose = "To try."\nspace = "acescct"\n'
    '[[moves]]\nmove = "tone-in-stops"\nslope = 1.3\n'
)


@pytest.fixture
def shoot(synth: ModuleType, tmp_path: Path) -> Path:
    """A shoot of one phone-log clip of four frames."""
    card = tmp_path / "card"
    card.mkdir()
    synth.write_clip(card / "A001.mov", **synth.PRORES, frames=4, tags=synth.PHONE_LOG)
    scan(card, tmp_path / "card.shoot", {"A001": "phone-log-1"})
    return tmp_path / "card.shoot"


def test_a_look_on_a_view_is_the_look_itself() -> None:
    """Within what its table may be off (health: error of the table), at any strength."""
    found = find_look("wheat")
    look = ready(found, (0.5, 1.0))
    for view in (demo_views()[1], made_views()[2]):
        shown = view.shown[::7, ::7]
        for strength in (0.5, 1.0):
            exact = blend(shown, LOOKS["wheat"], strength)
            off = np.abs(look.on(view, strength)[::7, ::7] - exact)
            assert np.quantile(off, 0.99) < 4 / 255


def test_a_look_for_log_goes_before_the_output_transform(tmp_path: Path) -> None:
    """More contrast in stops: darks go down and lights up, on scenes and on charts."""
    (tmp_path / "bran.toml").write_text(LOG_LOOK)
    look = ready(find_look(str(tmp_path / "bran.toml")), (1.0,))
    for view in (demo_views()[2], made_views()[0]):
        change = look.on(view, 1.0) - view.shown
        dark, light = view.shown.mean(axis=2) < 0.25, view.shown.mean(axis=2) > 0.7
        assert np.median(change[dark]) < -0.005
        assert np.median(change[light]) > 0.005


def test_black_and_white_is_judged_as_such_at_any_strength() -> None:
    """Half a black and white takes colour from skin, and is meant to."""
    alone, among = ready(find_look("soot"), (0.7,)), health_of_look(LOOKS["soot"])

    assert alone.health.at(0.7) == among.at(0.7)
    assert check_named("soot", strengths=(0.7,)).health.at(0.7) == among.at(0.7)
    assert [part.strength for part in alone.health.strengths] == [0.7]
    assert [each.strength for each in alone.traces] == [0.7]


@pytest.mark.slow
def test_a_sheet_holds_looks_at_strengths_with_their_health() -> None:
    """And gives the same bytes each time, in all three formats."""
    found = [find_look("rye")]
    first, again = (look_sheet(found, (1.0, 0.5), title="Rye") for _ in range(2))

    assert [row.strength for row in first.looks[0].rows] == [0.5, 1.0]
    assert {row.verdict for row in first.looks[0].rows} == {"pass"}
    assert [column.name for column in first.scenes] == ["oven", "prep", "yard", "shop"]
    assert [column.name for column in first.cards] == ["ramps", "skins", "chart"]
    for kind, head in (("html", b"<!doctype"), ("png", b"\x89PNG"), ("pdf", b"%PDF-1.7")):
        data = sheet_file(first, kind)
        assert data.startswith(head)
        assert data == sheet_file(again, kind)


@pytest.mark.media
def test_a_clip_of_the_shoot_stands_beside_the_scenes(shoot: Path, tmp_path: Path) -> None:
    """Levelled and without the look that is on it; files that are there are not replaced."""
    plain = clip_view(shoot, "A001", START)
    use_look(shoot, find_look("soot"), LookOptions(1.0))
    wishes = SheetWishes(clips=(("A001", START),), kinds=("html",))
    made = write_sheet(["rye"], tmp_path / "s", wishes, shoot)

    assert np.array_equal(clip_view(shoot, "A001", START).shown, plain.shown)
    assert [Path(file).name for file in made.files] == ["looks.html"]
    assert "A001 at 0 s" in Path(made.files[0]).read_text("utf-8")
    with pytest.raises(NameTakenError):
        write_sheet(["rye"], tmp_path / "s", SheetWishes(kinds=("html",)))


@pytest.mark.media
def test_a_wall_shows_every_look_with_the_line_to_run(shoot: Path, tmp_path: Path) -> None:
    """Those that evenhand brings, and files that the shoot keeps, by their paths."""
    file = tmp_path / "my look.cube"
    file.write_bytes(export_table(LOOKS["rye"], "cube", 17, "My look").data)
    use_look(shoot, find_look(str(file)), LookOptions(1.0))
    made = write_wall(shoot, ("A001", START), tmp_path / "wall.html", strength=0.7)
    page = (tmp_path / "wall.html").read_text("utf-8")

    assert made.looks == (*LOOKS, "my look")
    assert made.commands[0] == "evenhand look use wheat A001 --strength 70%"
    assert made.commands[-1].startswith(f"evenhand look use '{file}' A001 --strength 70%")
    assert page.count("<code>") == len(LOOKS) + 1
    with pytest.raises(UsageError, match="HTML or PNG"):
        write_wall(shoot, ("A001", START), tmp_path / "wall.jpg")


def test_a_file_that_is_no_look_for_the_display_is_told_on_the_sheet(tmp_path: Path) -> None:
    """A conversion from log that nobody declares is shown where it lands, and said to be wrong."""
    along = np.linspace(0, 1, 17)
    curve = np.clip((along - 0.2) * 2.2, 0, 1) ** 0.8
    rows = [
        f"{curve[r]:.5f} {curve[g]:.5f} {curve[b]:.5f}"
        for b in range(17)
        for g in range(17)
        for r in range(17)
    ]
    file = tmp_path / "bought.cube"
    file.write_text("LUT_3D_SIZE 17\n" + "\n".join(rows) + "\n")
    notes = look_sheet([find_look(str(file))]).notes

    assert len(notes) == 1
    assert "nobody says what it is made for" in notes[0]


def test_a_look_is_explained(tmp_path: Path) -> None:
    """Its moves word by word, its place, curves and every figure; the same bytes each time."""
    pages = [tmp_path / name for name in ("a.html", "b.html")]
    for page in pages:
        made = explain_look("daybreak", page)
    text = pages[0].read_text("utf-8")

    assert pages[0].read_bytes() == pages[1].read_bytes()
    assert made.verdict == "pass"
    for move in LOOKS["daybreak"].moves:
        assert move in text
    assert (
        text.index("<b>Output transform</b>")
        < text.index("<b>Daybreak</b>")
        < text.index("<b>Master")
    )
    assert text.count("<svg") == 5
    assert "skin turns by" in text
    with pytest.raises(UsageError, match=r"\.html"):
        explain_look("daybreak", tmp_path / "a.pdf")


@pytest.mark.slow
def test_a_look_for_log_is_explained_before_the_output_transform(tmp_path: Path) -> None:
    """Its place in the order of work follows its space."""
    (tmp_path / "bran.toml").write_text(LOG_LOOK)
    explain_look(str(tmp_path / "bran.toml"), tmp_path / "bran.html")
    text = (tmp_path / "bran.html").read_text("utf-8")

    assert text.index("<b>By hand") < text.index("<b>Bran</b>") < text.index("<b>Output transform")
    assert "it goes before the output transform" in text


def test_nothing_to_show_is_said() -> None:
    """A sheet of no look, or of one that does not exist."""
    with pytest.raises(UsageError, match="no look is named"):
        look_sheet([])

"""A look that is used is kept by its content: files that change or go alter nothing unnoticed."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from evenhand.colourmath.encodings import named
from evenhand.errors import LookMisplacedError, LookMissingError, UsageError
from evenhand.grade.document import Grade, LookUse
from evenhand.grade.effects import effects_in
from evenhand.grade.exact import exact_transform
from evenhand.grade.looks import look_named
from evenhand.grade.recipe import written
from evenhand.grade.tables import lattice_of
from evenhand.jobs.identify import scan
from evenhand.jobs.look import LookOptions, list_looks, show_look, use_look
from evenhand.jobs.looks import ShootLooks, find_look, look_notices
from evenhand.luts import cube
from evenhand.luts.declared import Declared
from evenhand.luts.tables import Table3D
from evenhand.shoot import store

COLOURS = np.random.default_rng(7).uniform(0, 1, (500, 3))


class Conversion:
    """Phone log of the first generation to a display, as a look sees it."""

    space, gives = "phone-log-1", "bt709-display"

    def apply(self, signal: np.ndarray) -> np.ndarray:
        return exact_transform(Grade(named("phone-log-1")))(signal)


@pytest.fixture
def folder(synth: ModuleType, tmp_path: Path) -> Path:
    card = tmp_path / "card"
    card.mkdir()
    for name in ("A001", "A002"):
        synth.write_clip(card / f"{name}.mov", **{**synth.PRORES, "tags": synth.PHONE_LOG})
    scan(card, tmp_path / "card.shoot", {"*": "phone-log-1"})
    return tmp_path / "card.shoot"


def write_cube(path: Path, look: object, size: int = 17, comments: tuple[str, ...] = ()) -> Path:
    table = Table3D(lattice_of(look, size))
    path.write_bytes(cube.write(cube.CubeFile(three=table, comments=comments)))
    return path


@pytest.mark.media
def test_a_look_file_is_kept_by_its_content(folder: Path, tmp_path: Path) -> None:
    """The shoot's copy is applied: the same look on another clip, later, gives the same picture."""
    file = write_cube(tmp_path / "mine.cube", look_named("parchment"))
    use_look(folder, find_look(str(file)), LookOptions(0.7, ["A001"]))
    before = exact_transform(store.load(folder).grade(store.load(folder).clip("A001")),
                             ShootLooks(folder))(COLOURS)  # fmt: skip
    write_cube(file, look_named("daybreak"))

    shoot = store.load(folder)
    after = exact_transform(shoot.grade(shoot.clip("A001")), ShootLooks(folder))(COLOURS)

    np.testing.assert_array_equal(after, before)
    assert "has changed since it was chosen" in look_notices(shoot)[0]
    file.unlink()
    assert "is not there any more" in look_notices(shoot)[0]


@pytest.mark.media
def test_one_name_may_stand_for_two_contents(folder: Path, tmp_path: Path) -> None:
    """A clip keeps the look it was given, when the file of that name is given anew to another."""
    file = write_cube(tmp_path / "mine.cube", look_named("parchment"))
    use_look(folder, find_look(str(file)), LookOptions(1.0, ["A001"]))
    write_cube(file, look_named("soot"))
    use_look(folder, find_look(str(file)), LookOptions(1.0, ["A002"]))

    shoot, looks = store.load(folder), ShootLooks(folder)
    first, second = (looks(shoot.clip(c).look).apply(COLOURS) for c in ("A001", "A002"))

    assert np.ptp(second, axis=1).max() < 0.01 < np.ptp(first, axis=1).max()
    assert [line.clips for line in list_looks(folder)[-2:]] == [("A001",), ("A002",)]


@pytest.mark.media
@pytest.mark.parametrize("harm", ["gone", "changed"])
def test_a_copy_that_is_gone_or_changed_is_refused(folder: Path, tmp_path: Path, harm: str) -> None:
    """The shoot never grades with something else than what was chosen."""
    use_look(folder, find_look("rye"), LookOptions(1.0))
    [copy] = (folder / "looks").iterdir()
    if harm == "gone":
        copy.unlink()
    else:
        copy.write_text(copy.read_text("utf-8").replace("0.72", "0.52"), "utf-8")

    shoot = store.load(folder)
    with pytest.raises(LookMissingError, match="evenhand look use rye"):
        exact_transform(shoot.grade(shoot.clip("A001")), ShootLooks(folder))


@pytest.mark.media
def test_a_conversion_is_not_put_after_the_output_transform(folder: Path, tmp_path: Path) -> None:
    """Nobody said what it is for: its values do, and the log that fits is proposed, not taken."""
    file = write_cube(tmp_path / "conversion.cube", Conversion(), 33)
    with pytest.raises(LookMisplacedError, match=r"phone-log-1.*--space"):
        use_look(folder, find_look(str(file)), LookOptions(1.0))
    assert all(clip.look is None for clip in store.load(folder).clips)

    declared = Declared("phone-log-1", "bt709-display")
    use_look(folder, find_look(str(file), declared), LookOptions(1.0, declared=declared))

    shoot = store.load(folder)
    grey = np.full((1, 3), 0.5)
    found = exact_transform(shoot.grade(shoot.clip("A001")), ShootLooks(folder))(grey)
    wanted = Conversion().apply(grey)
    np.testing.assert_allclose(found, wanted, atol=2e-3)  # the table has 33 nodes a side


@pytest.mark.media
def test_a_creative_look_is_not_put_straight_on_log(folder: Path, tmp_path: Path) -> None:
    """A person's word that disagrees with the table is refused, with the reason."""
    file = write_cube(tmp_path / "mine.cube", look_named("rye"))
    declared = Declared("phone-log-1", "bt709-display")
    with pytest.raises(LookMisplacedError, match="creative look"):
        use_look(folder, find_look(str(file), declared), LookOptions(1.0, declared=declared))


def test_a_file_declares_its_space(tmp_path: Path) -> None:
    """The sentence that evenhand writes into a table is read again."""
    said = ("expects phone-log-1, gives bt709-display",)
    facts = show_look(str(write_cube(tmp_path / "c.cube", Conversion(), 33, said)))

    assert (facts.look.space, facts.look.gives) == ("phone-log-1", "bt709-display")
    assert (facts.declared_by, facts.placing.verdict) == ("file", "agrees")


def test_a_look_document_is_a_look(tmp_path: Path) -> None:
    """A recipe in a file is the recipe."""
    path = tmp_path / "own.toml"
    path.write_text(written(look_named("rye")), "utf-8")

    assert find_look(str(path)).digest == find_look("rye").digest
    with pytest.raises(UsageError, match="--space"):
        find_look(str(path), Declared("acescct", "acescct"))


def test_a_name_that_is_no_look_is_wrong_usage() -> None:
    """With the nearest that exists."""
    with pytest.raises(UsageError, match="Did you mean rye"):
        find_look("rey")


@pytest.mark.media
def test_a_use_without_a_digest_is_a_shipped_look(folder: Path) -> None:
    """Documents of earlier versions name a look only."""
    assert ShootLooks(folder)(LookUse("soot", 0.5)) == look_named("soot")


@pytest.mark.media
def test_effects_are_used_only_where_they_are_asked_for(folder: Path, tmp_path: Path) -> None:
    """A look may hold grain; a look without any cannot be asked for it."""
    path = tmp_path / "grainy.toml"
    path.write_text(written(look_named("rye")) + "\n[effects.grain]\nstops = 0.06\n", "utf-8")
    found = find_look(str(path))
    use_look(folder, found, LookOptions(1.0, ["A001"]))
    use_look(folder, found, LookOptions(1.0, ["A002"], effects=True))

    shoot, looks = store.load(folder), ShootLooks(folder)
    grades = [shoot.grade(shoot.clip(name)) for name in ("A001", "A002")]
    assert [effects_in(grade, looks).are_none for grade in grades] == [True, False]
    with pytest.raises(UsageError, match="neither halation nor grain"):
        use_look(folder, find_look("rye"), LookOptions(1.0, effects=True))

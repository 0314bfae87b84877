"""The history grows by what changed, and walks back and forth without loss."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as some

from evenhand.errors import ShootError, UsageError
from evenhand.grade.document import Adjustment, LookUse, White
from evenhand.jobs.history import history, redo, undo
from evenhand.shoot import store
from evenhand.shoot.document import CardEntry, ClipEntry, GreyCardEntry, PlaceEntry, Shoot, empty
from evenhand.shoot.history import HISTORY, Edit, Origin, applied, difference

NAMES = ("A001", "A002", "A003")


def start() -> Shoot:
    return msgspec.structs.replace(
        empty("card"),
        cards=(CardEntry("card", "/media/card"),),
        clips=tuple(
            ClipEntry(id=n, card="card", path=f"{n}.mov", bytes=1, fingerprint=n) for n in NAMES
        ),
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    store.change(tmp_path, Origin("scan"), lambda now: now, start=start())
    return tmp_path


def adjusted(folder: Path, name: str, by: Origin | None = None, **values: object) -> Shoot:
    def edit(now: Shoot) -> Shoot:
        entry = now.clip(name)
        adjustment = msgspec.structs.replace(entry.adjustment, **values)
        return now.with_clips(msgspec.structs.replace(entry, adjustment=adjustment))

    return store.change(folder, by or Origin("adjust"), edit)


def decisions(shoot: Shoot) -> Shoot:
    return msgspec.structs.replace(shoot, revision=0)


def test_a_decision_is_told_with_time_origin_before_and_after(folder: Path) -> None:
    """One command, one entry; of one clip alone where it is named."""
    adjusted(folder, "A001", exposure=0.3)
    adjusted(folder, "A002", Origin("", screen="phone"), white=White(5600.0, 0.001))
    adjusted(folder, "A001", exposure=0.5)

    told = history(folder, "A001")

    assert [one.edits for one in told] == [
        (Edit(("clips", "A001", "adjustment", "exposure"), None, 0.3),),
        (Edit(("clips", "A001", "adjustment", "exposure"), 0.3, 0.5),),
    ]
    assert [one.verb for one in told] == ["adjust", "adjust"]
    assert all(one.time.endswith("Z") and "T" in one.time for one in told)
    assert history(folder)[1].screen == "phone"


def test_undo_and_redo_walk_one_command_at_a_time(folder: Path) -> None:
    """Back to the beginning and forth again; a new decision ends what could be done again."""
    seen = [store.load(folder)]
    seen += [adjusted(folder, "A001", exposure=stops) for stops in (0.1, 0.2, 0.3)]

    for back in reversed(seen[:-1]):
        undo(folder)
        assert decisions(store.load(folder)) == decisions(back)
    with pytest.raises(UsageError, match="nothing to"):
        undo(folder)
    for forth in seen[1:]:
        redo(folder)
        assert decisions(store.load(folder)) == decisions(forth)
    undo(folder)
    adjusted(folder, "A002", contrast=1.1)
    with pytest.raises(UsageError, match="nothing to"):
        redo(folder)


def test_undo_to_a_revision_takes_back_all_after_it(folder: Path) -> None:
    """And is itself one step that redo takes command by command."""
    first = adjusted(folder, "A001", exposure=0.1)
    adjusted(folder, "A002", exposure=0.2)
    last = adjusted(folder, "A003", exposure=0.3)

    undo(folder, to=first.revision)
    assert decisions(store.load(folder)) == decisions(first)
    redo(folder)
    redo(folder)

    assert decisions(store.load(folder)) == decisions(last)
    with pytest.raises(UsageError, match="there is no revision 99"):
        undo(folder, to=99)


def test_what_one_command_changed_in_several_goes_is_one_step(folder: Path) -> None:
    """With another command's change between them, which stays."""
    whole = Origin("run")
    adjusted(folder, "A001", whole, exposure=0.1)
    adjusted(folder, "A002", Origin("adjust"), exposure=0.2)
    adjusted(folder, "A003", whole, exposure=0.3)

    undo(folder)
    assert store.load(folder).clip("A003").adjustment.exposure == 0.3
    assert store.load(folder).clip("A002").adjustment == Adjustment()
    undo(folder)

    assert {store.load(folder).clip(n).adjustment.exposure for n in NAMES} == {0.0}


def test_places_grey_cards_and_looks_come_back(folder: Path) -> None:
    """Records that are added, changed and taken away; lists keep their order."""

    def edit(now: Shoot) -> Shoot:
        looks = {n: LookUse("rye", 0.7, "d") for n in NAMES[:2]}
        return msgspec.structs.replace(
            now.with_clips(
                *(msgspec.structs.replace(now.clip(n), look=use) for n, use in looks.items())
            ),
            places=(
                PlaceEntry(name="bar", clips=NAMES[:2], reference="A001"),
                PlaceEntry(name="yard", clips=NAMES[2:]),
            ),
            grey_cards=(GreyCardEntry("A002", "25/2", 0.5, 0.5),),
        )

    there = store.change(folder, Origin("level"), edit)
    gone = store.change(
        folder,
        Origin("forget"),
        lambda now: msgspec.structs.replace(now, places=now.places[1:], grey_cards=()),
    )

    undo(folder)
    back = store.load(folder)
    assert {p.name: p for p in back.places} == {p.name: p for p in there.places}
    assert back.grey_cards == there.grey_cards
    redo(folder)
    assert decisions(store.load(folder)) == decisions(gone)


def test_what_was_changed_by_hand_is_not_overrun(folder: Path) -> None:
    """An edit in the file after the decision: undo says where, and changes nothing."""
    adjusted(folder, "A001", exposure=0.3)
    document = folder / store.DOCUMENT
    document.write_text(document.read_text("utf-8").replace('"exposure": 0.3', '"exposure": 0.7'))
    before = document.read_bytes()

    with pytest.raises(ShootError, match="clips A001 adjustment exposure was changed"):
        undo(folder)

    assert document.read_bytes() == before


def test_a_run_that_was_killed_leaves_no_trace(folder: Path) -> None:
    """Killed while it wrote a line, or between the line and the document: neither came to be."""
    first = adjusted(folder, "A001", exposure=0.1)
    path = folder / HISTORY
    whole = path.read_bytes()
    line = whole.splitlines(keepends=True)[-1]
    later = line.replace(b'"revision":%d' % first.revision, b'"revision":%d' % (first.revision + 1))
    assert later != line

    for left in (later, later[: len(later) // 2]):
        path.write_bytes(whole + left)
        assert len(history(folder)) == 1
        second = adjusted(folder, "A002", exposure=0.2)
        assert path.read_bytes().startswith(whole)
        assert [e.revisions for e in history(folder)][-1] == (second.revision,)
        undo(folder)
        assert decisions(store.load(folder)) == decisions(first)
        path.write_bytes(whole)
        document = folder / store.DOCUMENT
        document.write_bytes(
            document.read_bytes().replace(
                b'"revision": %d' % store.load(folder).revision, b'"revision": %d' % first.revision
            )
        )


def test_the_history_grows_by_what_changed(tmp_path: Path) -> None:
    """A change of one clip in 400 is a short line, whatever the size of the document."""
    many = tuple(
        ClipEntry(id=f"C{n}", card="card", path=f"C{n}.mov", bytes=1, fingerprint=str(n))
        for n in range(400)
    )
    shoot = msgspec.structs.replace(start(), clips=many)
    store.change(tmp_path, Origin("scan"), lambda now: now, start=shoot)
    adjusted(tmp_path, "C7", exposure=0.3)
    before = (tmp_path / HISTORY).stat().st_size
    adjusted(tmp_path, "C8", exposure=0.3)

    assert 0 < (tmp_path / HISTORY).stat().st_size - before < 300
    assert (tmp_path / store.DOCUMENT).stat().st_size > 40_000


values = some.floats(-2, 2).map(lambda v: round(v, 3))
entries = some.builds(
    Adjustment,
    exposure=values,
    white=some.none() | some.builds(White, some.floats(2000, 9000), values.map(lambda v: v / 100)),
    contrast=some.floats(0.5, 2),
)


@given(some.lists(entries, min_size=6, max_size=6), some.permutations(NAMES))
def test_a_difference_takes_one_document_to_the_other(
    made: list[Adjustment], order: list[str]
) -> None:
    """And its inverse back, whatever was changed, added and taken away."""
    one, other = (
        msgspec.structs.replace(
            start(),
            clips=tuple(
                msgspec.structs.replace(c, adjustment=a)
                for c, a in zip(start().clips, half, strict=True)
            ),
            places=places,
        )
        for half, places in (
            (made[:3], (PlaceEntry(name="bar", clips=NAMES),)),
            (made[3:], (PlaceEntry(name="bar", clips=tuple(order[:2])),)),
        )
    )
    before, after = (msgspec.to_builtins(s) for s in (one, other))
    before, after = (msgspec.json.decode(msgspec.json.encode(d)) for d in (before, after))

    edits = difference(before, after)

    assert msgspec.convert(applied(before, edits), Shoot) == other
    back = [edit.inverse() for edit in reversed(edits)]
    assert msgspec.convert(applied(after, back), Shoot) == one

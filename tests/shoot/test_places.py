"""What a person says of places changes the document as it says, and can be taken back."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from evenhand.errors import UsageError
from evenhand.shoot import store
from evenhand.shoot.document import (
    CardEntry,
    ClipEntry,
    GreyCardEntry,
    PlaceEntry,
    Shoot,
    empty,
)
from evenhand.shoot.forgetting import forgotten
from evenhand.shoot.history import Origin
from evenhand.shoot.places import joined, put, renamed, split

CLIPS = ("A1", "A2", "A3", "B1", "B2")


def shoot() -> Shoot:
    """Two measured places; the reference of the second was chosen by a person."""
    return msgspec.structs.replace(
        empty("day"),
        cards=(CardEntry("card", "/media/card"),),
        clips=tuple(
            ClipEntry(id=c, card="card", path=f"{c}.mov", bytes=1, fingerprint=c) for c in CLIPS
        ),
        places=(
            PlaceEntry(name="place 1", clips=("A1", "A2", "A3"), reference="A2"),
            PlaceEntry(name="place 2", clips=("B1", "B2"), reference="B1", reference_by="person"),
        ),
        grey_cards=(GreyCardEntry("A1", "1", 0.5, 0.5), GreyCardEntry("B1", "1", 0.5, 0.5)),
    )


def told(shoot: Shoot) -> dict[str, tuple[str, ...]]:
    """Places by name."""
    return {s.name: s.clips for s in shoot.places}


def test_a_place_gets_another_name_and_nothing_else() -> None:
    """Its clips go on being measured; the name is the person's."""
    changed = renamed(shoot(), "place 1", "kitchen")
    [entry] = [s for s in changed.places if s.name == "kitchen"]

    assert told(changed) == {"kitchen": ("A1", "A2", "A3"), "place 2": ("B1", "B2")}
    assert (entry.by, entry.named_by) == ("measurement", "person")


def test_two_places_become_one_under_the_first_name() -> None:
    """In the order of the card; the reference that a person chose stays the person's."""
    changed = joined(shoot(), "place 1", "place 2")
    [entry] = changed.places

    assert (entry.name, entry.clips, entry.by) == ("place 1", CLIPS, "person")
    assert (entry.reference, entry.reference_by) == ("B1", "person")


def test_clips_are_split_off_into_a_place_of_their_own() -> None:
    """Named after the old one, or as the person says; the reference left behind is measured."""
    changed = split(shoot(), "place 1", ["A2"])
    named = split(shoot(), "place 2", ["B1"], "door")

    assert told(changed) == {"place 1": ("A1", "A3"), "place 2": ("B1", "B2"), "place 1 2": ("A2",)}
    assert told(named) == {"place 1": ("A1", "A2", "A3"), "place 2": ("B2",), "door": ("B1",)}
    assert next(s for s in named.places if s.name == "place 2").reference_by == "measurement"


def test_clips_are_put_beside_those_that_are_there() -> None:
    """A new name makes a place, a known one takes them in; an emptied place is gone."""
    once = put(shoot(), "yard", ["B1"])
    twice = put(once, "yard", ["B2", "A1"])

    assert told(once)["yard"] == ("B1",)
    assert told(twice) == {"place 1": ("A2", "A3"), "yard": ("A1", "B1", "B2")}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda s: renamed(s, "place 9", "x"), "Did you mean place"),
        (lambda s: renamed(s, "place 1", "place 2"), "--join"),
        (lambda s: renamed(s, "place 1", "  "), "no name"),
        (lambda s: joined(s, "place 1", "place 1"), "itself"),
        (lambda s: split(s, "place 1", ["B1"]), "not in place 1"),
        (lambda s: split(s, "place 1", ["A1", "A2", "A3"]), "no clip would stay"),
        (lambda s: split(s, "place 1", ["A1"], "place 2"), "another place has this name"),
        (lambda s: put(s, "a\nb", ["A1"]), "no name"),
    ],
)
def test_what_makes_no_sense_is_refused_with_a_way_out(change, words: str) -> None:  # type: ignore[no-untyped-def]
    """Unknown and taken names, empty places, strangers."""
    with pytest.raises(UsageError) as refused:
        change(shoot())
    assert words in str(refused.value)


def test_words_are_taken_back_one_kind_at_a_time() -> None:
    """Places, references and greys; only of the clips named, where any are."""
    said = put(shoot(), "door", ["A3"])

    assert told(forgotten(said, ["place"])) == {
        "place 1": ("A1", "A2"),
        "place 2": ("B1", "B2"),
        "place 3": ("A3",),
    }
    assert told(forgotten(said, ["place"], ["B1"])) == told(said)
    assert all(s.reference_by == "measurement" for s in forgotten(said, ["reference"]).places)
    assert forgotten(said, ["reference"], ["B2"]).places == said.places
    assert [g.clip for g in forgotten(said, ["grey-card"], ["A1"]).grey_cards] == ["B1"]
    assert forgotten(said, ["grey-card"]).grey_cards == ()


def test_what_was_said_outlives_the_document(tmp_path: Path) -> None:
    """It is written and read as it is."""
    said = renamed(put(shoot(), "door", ["A3"]), "place 2", "yard")
    store.change(tmp_path, Origin("level"), lambda _: said, start=shoot())

    assert store.load(tmp_path) == msgspec.structs.replace(said, revision=1)

"""Scanning forgets nothing, whatever it sees of a card this time."""

from __future__ import annotations

import msgspec
import pytest

from evenhand.colourmath.encodings import ENCODINGS
from evenhand.grade.document import Adjustment, LookUse
from evenhand.reasons import because
from evenhand.shoot.document import CardEntry, Shoot, empty
from evenhand.shoot.scanned import Seen, with_card

CARD = CardEntry("card", "/media/card")
TROUBLE = (because("unreadable.cut-short"),)


def seen(path: str, mark: str = "", **more: object) -> Seen:
    return Seen(
        path=path,
        bytes=10,
        fingerprint=mark or path,
        encoding=ENCODINGS["hlg"],
        confidence=0.9,
        **more,  # type: ignore[arg-type]
    )


FILES = [seen("A001.mov"), seen("A002.mov"), seen("B/A003.mov")]


@pytest.fixture
def decided() -> Shoot:
    """Three clips, each with an exposure, a look and an encoding that a person said."""
    shoot = with_card(empty("card"), CARD, FILES)
    return shoot.with_clips(
        *(
            msgspec.structs.replace(
                clip,
                adjustment=Adjustment(exposure=0.3),
                look=LookUse("rye", 0.7),
                encoding=ENCODINGS["phone-log-2"],
                encoding_by="person",
            )
            for clip in shoot.clips
        )
    )


def kept(shoot: Shoot, name: str) -> tuple[float, str, str | None, str]:
    clip = shoot.clip(name)
    assert clip.look is not None
    assert clip.encoding is not None
    return clip.adjustment.exposure, clip.look.name, clip.encoding.name, clip.state


ALL = (0.3, "rye", "phone-log-2")


@pytest.mark.parametrize(
    ("files", "state"),
    [
        (FILES[1:], "away"),
        ([seen("A001.mov", trouble=TROUBLE), *FILES[1:]], "away"),
        ([msgspec.structs.replace(seen("A001.mov"), fingerprint="", trouble=TROUBLE)], "away"),
        ([seen("A001.mov", "cut"), *FILES[1:]], "away"),
        ([seen("other.mov", "A001.mov"), *FILES[1:]], "here"),
        ([], "away"),
    ],
    ids=["gone", "unreadable", "not permitted", "cut short", "renamed", "all gone"],
)
def test_what_was_decided_stays(decided: Shoot, files: list[Seen], state: str) -> None:
    """Away, unreadable, cut short or renamed during one scan; and all is well in the next."""
    now = with_card(decided, CARD, files)
    assert kept(now, "A001") == (*ALL, state)

    back = with_card(now, CARD, FILES)
    assert kept(back, "A001") == (*ALL, "here")
    assert {c.id for c in back.clips if c.state == "here"} == {"A001", "A002", "A003"}


def test_another_file_under_a_known_name_is_another_clip(decided: Shoot) -> None:
    """It takes nothing over, and has a name of its own."""
    now = with_card(decided, CARD, [seen("A001.mov", "another"), *FILES[1:]])

    new = next(c for c in now.clips if c.fingerprint == "another")
    assert new.id == "A001.mov"
    assert (new.adjustment, new.look, new.state) == (Adjustment(), None, "here")
    assert now.clip("A001").fingerprint == "A001.mov"


def test_two_copies_of_one_file_stay_two_clips(decided: Shoot) -> None:
    """The first by its path keeps the entry; the copy is new."""
    now = with_card(decided, CARD, [*FILES, seen("C/A001.mov", "A001.mov")])

    assert kept(now, "A001") == (*ALL, "here")
    assert now.clip("C/A001.mov").adjustment == Adjustment()


def test_files_that_never_were_clips_are_not_kept_for_ever() -> None:
    """Nothing was decided of them, so nothing is lost."""
    broken = seen("A001.mov", trouble=TROUBLE)
    shoot = with_card(empty("card"), CARD, [msgspec.structs.replace(broken, encoding=None)])
    assert shoot.clip("A001").state == "unreadable"

    assert with_card(shoot, CARD, FILES[1:]).clips[0].id == "A002"


def test_evidence_may_change_what_evidence_decided() -> None:
    """But a person's word stays."""
    shoot = with_card(empty("card"), CARD, FILES)
    other = [msgspec.structs.replace(f, encoding=ENCODINGS["pq"]) for f in FILES]

    now = with_card(shoot, CARD, other)

    assert {c.encoding.name for c in now.clips if c.encoding} == {"pq"}

"""What is said of skin: the code decides what is told, the figures how far."""

from __future__ import annotations

import pytest

from evenhand.colourmath.encodings import ENCODINGS
from evenhand.grade.document import Grade
from evenhand.measure.skin.check import check_skin, compare
from evenhand.measure.skin.reading import SkinPlace, SkinReading
from evenhand.reasons import because
from evenhand.wording.figures import plain
from evenhand.wording.saying import clause, sentences

GRADE = Grade(ENCODINGS["phone-log-1"])


def place(*angles: float | None, stops: float = 0.0) -> SkinPlace:
    """One place whose stages (shot, levelled, by hand, look) lie at these angles; 0 is grey."""
    shot, levelled, adjusted, looked = [
        None if angle is None else SkinReading(angle or None, 12.0, 50.0)
        for angle in (*angles, None, None)[:4]
    ]
    assert shot is not None
    assert levelled is not None
    return SkinPlace(
        seconds=1.0,
        box=(0.4, 0.2, 0.1, 0.2),
        pixels=300,
        shot=shot,
        levelled=levelled,
        adjusted=adjusted,
        looked=looked,
        stops=(stops, stops),
    )


@pytest.mark.parametrize(
    ("angles", "words"),
    [
        ((121, 0), "Skin is nearly grey after levelling: it has no hue to check."),
        (
            (0, 122),
            "Skin lies at 122° after levelling, on the skin line; as shot it was nearly grey.",
        ),
        (
            (105.2, 119.2),
            "Skin lies at 119° after levelling, 2° from the skin line; levelling turned it by "
            "+14°.",
        ),
        (
            (121.5, 90.7),
            "Skin lies at 91° after levelling, outside 100° to 150°, and levelling turned it 31° "
            "away from the skin line, towards red: look at the white of this clip.",
        ),
        (
            (92.2, 92.2),
            "Skin lies at 92° after levelling, outside 100° to 150°, 29° from the skin line; as "
            "shot it lay at 92°; the light may be meant so, and nothing was done about it.",
        ),
        (
            (119.2, 119.2, 122.2),
            "Skin lies at 119° after levelling, 2° from the skin line; levelling left it there. "
            "The adjustment by hand turns skin by +3°, towards yellow, to 122°.",
        ),
        (
            (119.2, 119.2, None, 0),
            "Skin lies at 119° after levelling, 2° from the skin line; levelling left it there. "
            "The look takes the hue out of skin.",
        ),
        (
            (0, 0, None, 120),
            "Skin is nearly grey after levelling: it has no hue to check. "
            "The look found no hue in skin to turn.",
        ),
    ],
)
def test_each_verdict_in_words(angles: tuple[float | None, ...], words: str) -> None:
    """The skin line of BT.709 lies at 121.5 degrees, its band from 100 to 150."""
    check = check_skin("A001", "face", [place(*angles)], GRADE)

    assert plain(sentences(check.why)) == words


@pytest.mark.parametrize(("stops", "ends"), [(0.3, "both levelled"), (0.6, "do not match")])
def test_two_clips_in_words(stops: float, ends: str) -> None:
    """Over half a stop apart it is said that they do not match."""
    a = check_skin("A001", "person", [place(120, 121)], GRADE)
    b = check_skin("A002", "person", [place(118, 119, stops=stops)], GRADE)

    pair = compare(a, b)

    assert pair is not None
    told = plain(sentences(pair.why))
    assert told.startswith(f"The skin pointed at in A002 lies -2° and +{stops:.2f} stop from that")
    assert told.endswith(f"{ends}.")


@pytest.mark.parametrize("code", ["skin.no-model", "skin.other-model"])
def test_a_missing_model_is_told_with_two_ways_out(code: str) -> None:
    """Add it, or point."""
    words = clause(because(code))

    assert "`make faces`" in words
    assert "--skin CLIP@TIME,X,Y" in words


def test_no_face_tells_how_to_point() -> None:
    """How many frames were looked at, and what to do instead."""
    words = clause(because("skin.no-face", frames=5))

    assert words.startswith("no face was found in 5 frames; to read it, point at skin: ")

"""What is said of skin: a warning needs two things, and lightness is never one of them."""

from __future__ import annotations

import sys
from pathlib import Path

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.colourmath.encodings import ENCODINGS, transfer_of
from evenhand.grade.document import Grade, Levelling, White
from evenhand.measure.graticule import skin_line
from evenhand.measure.skin.check import SkinCheck, check_skin, compare, turned
from evenhand.measure.skin.reading import SkinPlace, SkinReading, point_patch, read_place
from evenhand.reasons import because
from evenhand.wording.figures import plain
from evenhand.wording.saying import sentences

sys.path.append(str(Path(__file__).parent))
import published_skins as published

LOG = ENCODINGS["phone-log-1"]
GRADE = Grade(LOG)


def reading(angle: float | None, saturation: float = 12.0, luma: float = 50.0) -> SkinReading:
    return SkinReading(angle, saturation, luma, 1.5)


def place(
    shot: float | None,
    levelled: float | None,
    looked: float | None = None,
    stops: float = 0.0,
    **more: float,
) -> SkinPlace:
    return SkinPlace(
        seconds=1.0,
        box=(0.4, 0.2, 0.1, 0.2),
        pixels=300,
        shot=reading(shot, **more),
        levelled=reading(levelled, **more),
        looked=None if looked is None else reading(looked, **more),
        stops=(stops, stops),
    )


def words(check: SkinCheck) -> str:
    return sentences(check.why)


def said(*places: SkinPlace, grade: Grade = GRADE, by: str = "face") -> SkinCheck:
    return check_skin("A001", by, places, grade)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("shot", "levelled", "verdict"),
    [
        (122, 122, "fine"),  # nothing was done
        (105, 119, "fine"),  # brought back
        (112, 104, "fine"),  # moved 8 degrees away, but inside the band
        (98, 94, "told"),  # outside, moved 4 degrees away only
        (92, 92, "told"),  # outside as shot, left
        (85, 96, "told"),  # outside still, but nearer
        (106, 97, "warn"),  # outside, and 9 degrees further away
        (122, 90, "warn"),
        (121, 155, "warn"),  # the other side
    ],
)
def test_a_warning_needs_both(shot: float, levelled: float, verdict: str) -> None:
    """Outside 100 to 150 degrees after levelling, and more than 8 degrees away by levelling."""
    assert said(place(shot, levelled)).verdict == verdict


def test_the_band_is_that_of_the_output() -> None:
    """104 degrees is inside in BT.709 and outside in HLG, whose band begins at 107."""
    hlg = Grade(LOG, output_transform="hlg-1000")

    assert said(place(125, 104)).verdict == "fine"
    assert said(place(125, 104), grade=hlg).verdict == "warn"
    assert said(place(125, 104), grade=hlg).line == 134.5


@given(st.floats(90, 160), st.floats(90, 160), st.floats(2, 40), st.floats(3, 95))
def test_lightness_and_colourfulness_say_nothing(
    shot: float, levelled: float, saturation: float, luma: float
) -> None:
    """The same angles get the same words for any skin."""
    found = said(place(shot, levelled, saturation=saturation, luma=luma))
    other = said(place(shot, levelled))

    assert (found.verdict, found.why) == (other.verdict, other.why)


@given(st.floats(0, 360), st.floats(0, 360), st.one_of(st.none(), st.floats(0, 360)))
def test_a_look_never_makes_a_warning_about_levelling(
    shot: float, levelled: float, looked: float | None
) -> None:
    """With a look and without one it is a warning or not; words are there and plain."""
    with_look, without = said(place(shot, levelled, looked)), said(place(shot, levelled))

    assert (with_look.verdict == "warn") == (without.verdict == "warn")
    assert with_look.why[:1] == without.why
    assert len(with_look.why) == (1 if looked is None else 2)
    assert "nan" not in words(with_look)


def test_what_a_look_does_is_named_as_the_looks_doing() -> None:
    """Its turn, the side, and where it leaves the band; small turns are not made much of."""
    yellower = said(place(121, 121, 127))
    assert "The look turns skin by +6°, towards yellow, to 127°." in words(yellower)
    assert "The look leaves its hue (−1°)." in words(said(place(121, 121, 120)))
    out = said(place(121, 121, 90))
    assert out.verdict == "told"
    assert "The look turns skin by −31°, towards red, out of the band to 90°." in words(out)
    already_out = said(place(92, 92, 88))
    assert "The look turns skin by −4°, towards red, to 88°." in words(already_out)
    assert "takes the hue out of skin" in words(
        said(msgspec.structs.replace(place(121, 121), looked=reading(None, 0.3)))
    )


def test_the_middle_face_counts_not_the_odd_one() -> None:
    """One odd box among three faces, as of a poster, makes no warning."""
    faces = [place(121, 121), place(123, 124), place(122, 60)]

    assert said(*faces).verdict == "fine"
    assert said(*faces).levelled.angle == pytest.approx(121, abs=3)


def test_grey_skin_has_no_verdict_on_hue() -> None:
    """A monochrome clip is told, not warned of."""
    assert said(place(None, None, saturation=0.4)).verdict == "told"
    assert said(place(None, None, saturation=0.4)).why == (because("skin.grey"),)
    assert said(place(None, 122)).verdict == "fine"


def shot_face(kelvin: float | None, levelling: Levelling, skin: int = 1) -> SkinCheck:
    """Published skin under a light, recorded without any correction, and levelled as told."""
    light = 0.5 * published.linear_bt2020(kelvin)[0][skin]
    signal = transfer_of(LOG).to_signal(np.broadcast_to(light, (40, 800, 3)), LOG.range)
    signal = signal.astype(np.float32)
    grade = Grade(LOG, levelling)
    found = read_place((signal,) * 2, point_patch(0.5, 0.5, (800, 40)), grade)
    assert found is not None
    return said(found, grade=grade)


@pytest.mark.oracle
@pytest.mark.parametrize("skin", range(8), ids=list(published.SKINS))
@pytest.mark.parametrize("kelvin", [2800, 3500])
def test_a_face_in_warm_evening_light_is_left_and_not_warned_of(kelvin: float, skin: int) -> None:
    """Skins of all tones, shot warm and kept warm: at most told, and the grade stays."""
    check = shot_face(kelvin, Levelling(), skin)

    assert check.verdict in ("fine", "told")
    assert check.shot == check.levelled
    assert "white" not in words(check)  # nothing to look at


@pytest.mark.oracle
@pytest.mark.parametrize("skin", range(8), ids=list(published.SKINS))
def test_a_right_picture_spoilt_by_levelling_is_warned_of_whatever_the_tone(skin: int) -> None:
    """A daylight face levelled as if a lamp lit it (103 mired wrong): told as levelling's doing."""
    check = shot_face(None, Levelling(white=White(3900, 0.0)), skin)

    assert check.verdict == "warn"
    assert [reason.code for reason in check.why] == ["skin.turned-away"]
    assert check.levelled.angle < 100


@pytest.mark.oracle
@pytest.mark.parametrize("skin", range(8), ids=list(published.SKINS))
@pytest.mark.parametrize("kelvin", [2800, 4000, 9000])
def test_a_right_levelling_is_fine_for_all_tones(kelvin: float, skin: int) -> None:
    """Levelled by the true white of the light, all skins lie within 9 degrees of the line."""
    white = published.linear_bt2020(kelvin)[1] @ published.BT2020.matrix_RGB_to_XYZ.T
    check = shot_face(kelvin, Levelling(white=White(*published.kelvin_and_duv(white))), skin)

    assert check.verdict == "fine"
    assert abs(turned(check.levelled.angle, check.line)) < 9


def test_one_person_in_two_clips_is_compared_only_where_a_person_points() -> None:
    """Faces that were found are never taken for the same person."""
    a, b = said(place(120, 121), by="person"), said(place(118, 119, stops=0.6), by="person")
    found = said(place(118, 119), by="face")

    pair = compare(a, b)

    assert compare(a, found) is None
    assert compare(found, b) is None
    assert pair is not None
    assert pair.turn == pytest.approx(-2)
    assert pair.stops == pytest.approx(0.6)
    assert pair.verdict == "warn"  # over half a stop
    assert "lies −2° and" in sentences(pair.why)
    assert "+0.60 stop from that" in plain(sentences(pair.why))
    assert "do not match" in sentences(pair.why)
    near = compare(a, said(place(118, 119, stops=0.3), by="person"))
    assert near is not None
    assert near.verdict == "fine"
    assert "do not match" not in sentences(near.why)


def test_records_survive_json() -> None:
    """What is told in --json can be read back as it was."""
    check = said(place(120, 121, 126))
    assert msgspec.json.decode(msgspec.json.encode(check), type=SkinCheck) == check


def test_every_output_has_a_skin_line() -> None:
    """No output transform ends in an encoding that cannot be checked."""
    from evenhand.grade.output_transforms import OUTPUT_TRANSFORMS

    for output_transform in OUTPUT_TRANSFORMS.values():
        assert skin_line(output_transform.output) is not None

"""Skin readings against angles that are computed from published spectra without evenhand."""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from evenhand.colourmath.encodings import ENCODINGS, transfer_of
from evenhand.grade.document import Adjustment, Cdl, Grade, Levelling, LookUse, White
from evenhand.measure.skin.faces import Face
from evenhand.measure.skin.reading import (
    SkinReading,
    face_patch,
    middle,
    point_patch,
    read_place,
    read_skin,
    skin_pixels,
    stages,
)

sys.path.append(str(Path(__file__).parent))
import published_skins as published
from drawn_face import drawn_face

LOG = ENCODINGS["phone-log-1"]
PLAIN = Grade(LOG, output_transform="plain-sdr")
POINTS = ((-0.15, -0.05), (0.15, -0.05), (0.0, 0.13), (0.0, 0.27), (-0.35, 0.0), (0.35, 0.0))


def coded(light: np.ndarray, noise: float = 0.004, seed: int = 1) -> np.ndarray:
    """Linear BT.2020 as 10-bit phone log with noise on the light."""
    rng = np.random.default_rng(seed)
    grain = noise * np.sqrt(np.maximum(light, 0) + 0.01) * rng.normal(size=light.shape)
    signal = transfer_of(LOG).to_signal(light + grain, LOG.range)
    return (np.round(signal * 876) / 876).astype(np.float32)


def drawn(skin: np.ndarray, tall: float = 110) -> tuple[np.ndarray, Face]:
    """A drawn face in light, with the places that a face model would tell."""
    size, at = (400, 225), (200.0, 100.0)
    points = tuple(((at[0] + x * tall) / size[0], (at[1] + y * tall) / size[1]) for x, y in POINTS)
    box = (at[0] / size[0] - 0.15, 0.2, 0.3, 0.5)
    return drawn_face(skin, size, at, tall), Face(box, points, 0.9)


@pytest.mark.oracle
@pytest.mark.parametrize("skin", range(8), ids=list(published.SKINS))
def test_skins_of_all_tones_are_read_at_their_angle(skin: int) -> None:
    """A drawn face with hair, eyes, brows and mouth reads as its flat skin does, within 1 degree.

    The plain output transform is the BT.709 curve below its knee: expected angles by
    colour-science.
    """
    light = 0.6 * published.linear_bt2020()[0][skin]
    picture, face = drawn(light)
    patch = face_patch(face, (400, 225))
    assert patch is not None

    place = read_place((coded(picture),) * 2, patch, PLAIN)

    assert place is not None
    assert place.shot == place.levelled
    assert place.levelled.angle == pytest.approx(published.angle_709(light), abs=1.0)
    assert place.stops[0] == pytest.approx(
        np.log2(light @ [0.2627, 0.6780, 0.0593] / 0.18), abs=0.05
    )


@pytest.mark.oracle
@pytest.mark.parametrize("what", ["spectacles", "beard", "shine", "fringe", "all"])
def test_what_covers_a_face_does_not_turn_its_angle(what: str) -> None:
    """Dark frames, a ginger beard, white shine, red hair over the forehead: within 2 degrees."""
    light = 0.6 * published.linear_bt2020()[0][5]
    picture, face = drawn(light, 150)
    x, y, tall = 200, 100, 150
    ginger = (0.09, 0.035, 0.008)
    if what in ("beard", "all"):
        cv2.ellipse(picture, (x, round(y + 0.36 * tall)), (48, 26), 0, 0, 360, ginger, -1)
    if what in ("fringe", "all"):
        cv2.ellipse(picture, (x, round(y - 0.36 * tall)), (52, 22), 0, 0, 360, ginger, -1)
    if what in ("spectacles", "all"):
        for side in (-1, 1):
            at = (round(x + side * 0.15 * tall), round(y - 0.05 * tall))
            cv2.circle(picture, at, 15, (0.01, 0.01, 0.02), 4)
        cv2.line(picture, (x - 8, y - 8), (x + 8, y - 8), (0.01, 0.01, 0.02), 4)
    if what in ("shine", "all"):
        cv2.ellipse(picture, (x, round(y - 0.22 * tall)), (16, 7), 0, 0, 360, (1.1, 1.1, 1.1), -1)
        cv2.ellipse(picture, (x + 30, y + 20), (6, 5), 0, 0, 360, (6.0, 6.0, 6.0), -1)
    patch = face_patch(face, (400, 225))
    assert patch is not None

    place = read_place((coded(picture),) * 2, patch, PLAIN)

    assert place is not None
    assert place.levelled.angle == pytest.approx(published.angle_709(light), abs=2.0)


@pytest.mark.oracle
@pytest.mark.parametrize("output_transform", ["plain-sdr", "aces2-sdr", "hlg-1000"])
@pytest.mark.parametrize(
    ("kelvin", "most"), [(2800, 7.0), (4000, 3.6), (5500, 2.2), (7500, 2.0), (9000, 2.7)]
)
def test_a_right_levelling_brings_skin_back_from_any_light(
    output_transform: str, kelvin: float, most: float
) -> None:
    """Eight spectra under a lamp, ±2 stops, levelled by the lamp's own white: near the D65 angle.

    What is left is what one adaptation cannot undo for every spectrum, and codes of log.
    """
    grade = Grade(LOG, output_transform=output_transform)  # type: ignore[arg-type]
    right, _ = published.linear_bt2020()
    light, white = published.linear_bt2020(kelvin)
    cct, duv = published.kelvin_and_duv(white @ published.BT2020.matrix_RGB_to_XYZ.T)
    patch = point_patch(0.5, 0.5, (800, 40))
    off, turned = [], []
    for skin in range(8):
        for stops in (-2, 0, 2):
            levelled = Grade(
                LOG,
                Levelling(stops=-stops, white=White(cct, duv)),
                output_transform=output_transform,  # type: ignore[arg-type]
            )
            flat = np.broadcast_to(right[skin], (40, 800, 3))
            lit = np.broadcast_to(light[skin] * 2.0**stops, (40, 800, 3))
            truth = read_place((coded(flat, 0),) * 2, patch, grade)
            found = read_place((coded(lit, 0.002),) * 2, patch, levelled)
            assert truth is not None
            assert found is not None
            off.append(found.levelled.angle - truth.levelled.angle)
            turned.append(found.shot.angle - truth.levelled.angle)

    assert np.abs(off).max() < most
    if kelvin > 7000:
        assert max(turned) < 7  # cool light turns skin towards red, but for shoulders of a curve
        assert np.median(turned) < -3
    else:
        assert np.median(turned) > 2.5  # warm light towards yellow


@pytest.mark.parametrize("stops", [-2, -1, 1, 2])
def test_exposure_hardly_turns_skin(stops: int) -> None:
    """Levelled by the right stops, the same skin reads the same, within 1.5 degrees and 1 %."""
    light = 0.6 * published.linear_bt2020()[0][1]
    patch = point_patch(0.5, 0.5, (800, 40))
    grade = Grade(LOG, Levelling(stops=-stops))

    def read(lit: np.ndarray, by: Grade) -> SkinReading:
        place = read_place((coded(np.broadcast_to(lit, (40, 800, 3)), 0.002),) * 2, patch, by)
        assert place is not None
        return place.levelled

    found, truth = read(light * 2.0**stops, grade), read(light, Grade(LOG))
    assert found.angle == pytest.approx(truth.angle, abs=1.5)
    assert found.luma == pytest.approx(truth.luma, abs=1.0)


def test_all_stages_are_read_from_the_same_pixels_in_one_output_transform() -> None:
    """Only what is asked for differs; without a look or an adjustment there is no such stage."""
    full = Grade(
        LOG,
        Levelling(0.5, White(4500, 0.0)),
        Adjustment(cdl=Cdl(slope=(1.1, 1.0, 1.0))),
        "hlg-1000",
        LookUse("any", 0.5),
    )
    found = stages(full)
    assert list(found) == ["shot", "levelled", "adjusted", "looked"]
    assert {g.output_transform for g in found.values()} == {"hlg-1000"}
    assert found["shot"] == Grade(LOG, output_transform="hlg-1000")
    assert found["levelled"] == Grade(LOG, full.levelling, output_transform="hlg-1000")
    assert found["adjusted"] == Grade(LOG, full.levelling, full.adjustment, "hlg-1000")
    assert found["looked"] == full
    assert list(stages(Grade(LOG, look=LookUse("any", 0.0)))) == ["shot", "levelled"]


def test_a_look_is_read_after_everything_else() -> None:
    """A look that swaps red and green of the display signal turns skin far, and only at the end."""

    class Swap:
        space = "bt709-display"

        def apply(self, signal: np.ndarray) -> np.ndarray:
            return signal[:, [1, 0, 2]]

    light = np.broadcast_to(0.6 * published.linear_bt2020()[0][1], (40, 800, 3))
    grade = Grade(LOG, look=LookUse("swap"))

    place = read_place(
        (coded(light),) * 2, point_patch(0.5, 0.5, (800, 40)), grade, looks=lambda _: Swap()
    )

    assert place is not None
    assert place.looked is not None
    assert place.shot == place.levelled
    assert place.adjusted is None
    assert abs(place.looked.angle - place.levelled.angle) > 40


def test_the_shot_stage_takes_the_frame_as_shot_and_the_rest_the_steadied_one() -> None:
    """Two pictures that differ: each stage sees its own."""
    light = np.broadcast_to(0.4 * published.linear_bt2020()[0][1], (40, 800, 3))
    warm = light * np.array([1.3, 1.0, 0.7])
    patch = point_patch(0.5, 0.5, (800, 40))

    both = read_place((coded(warm), coded(light)), patch, PLAIN)
    alone = [read_place((coded(p),) * 2, patch, PLAIN) for p in (warm, light)]

    assert both is not None
    assert all(alone)
    assert both.shot.angle == pytest.approx(alone[0].shot.angle, abs=0.3)
    assert both.levelled.angle == pytest.approx(alone[1].levelled.angle, abs=0.3)


@pytest.mark.parametrize("level", [0.0, 40.0])
def test_what_is_black_or_clipped_is_not_read(level: float) -> None:
    """No hue is made up where a channel holds nothing or is full."""
    light = np.full((40, 800, 3), level) * np.array([1.2, 1.0, 0.8])

    assert read_place((coded(light, 0),) * 2, point_patch(0.5, 0.5, (800, 40)), PLAIN) is None


def test_grey_has_no_angle() -> None:
    """A monochrome picture has saturation near zero and no hue."""
    light = np.full((40, 800, 3), 0.18)

    place = read_place((coded(light, 0.001),) * 2, point_patch(0.5, 0.5, (800, 40)), PLAIN)

    assert place is not None
    assert place.levelled.angle is None
    assert place.levelled.saturation < 1.5


def test_the_patch_of_a_face_leans_with_it() -> None:
    """Turned by 50 degrees, the mask covers the same part of the face as upright."""
    _, upright = drawn(np.full(3, 0.3))
    points = np.array(upright.points) * (400, 225)
    turn = np.radians(50)
    spun = (points - (200, 100)) @ np.array(
        [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
    ) + (200, 100)
    leaning = Face(upright.box, tuple(map(tuple, spun / (400, 225))), 0.9)

    a, b = (face_patch(face, (400, 225)) for face in (upright, leaning))

    assert a is not None
    assert b is not None
    assert b.mask.sum() == pytest.approx(a.mask.sum(), rel=0.03)
    rows, columns = np.nonzero(b.mask)
    middle_of_mask = np.array([columns.mean() + b.columns.start, rows.mean() + b.rows.start])
    rows, columns = np.nonzero(a.mask)
    from_middle = np.array([columns.mean() + a.columns.start, rows.mean() + a.rows.start]) - (
        200,
        100,
    )
    expected = from_middle @ np.array(
        [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
    ) + (200, 100)
    assert middle_of_mask == pytest.approx(expected, abs=1.5)


def test_the_patch_leaves_out_what_is_not_skin() -> None:
    """Eyes with what is round them, all below the nose, ears; forehead, cheeks, nose are in."""
    _, face = drawn(np.full(3, 0.3), 150)
    patch = face_patch(face, (400, 225))
    assert patch is not None
    whole = np.zeros((225, 400), bool)
    whole[patch.rows, patch.columns] = patch.mask

    def at(x: float, y: float) -> bool:
        return bool(whole[round(100 + 150 * y), round(200 + 150 * x)])

    outside = [*POINTS[:2], *POINTS[3:], (0.0, 0.2), (0.0, 0.36), (0.15, 0.24), (0.0, -0.45)]
    assert [place for place in outside if at(*place)] == []
    assert all(at(*place) for place in ((0.0, -0.2), (0.0, 0.1), (0.17, 0.1), (-0.17, 0.1)))


def test_pixels_in_shadow_and_in_shine_are_left_out() -> None:
    """Of a ramp of one chroma, those between the 30th and the 90th percentile of luma stay."""
    luma = np.linspace(0.2, 0.8, 301)
    ramp = luma[:, None] + np.array([0.08, -0.02, -0.06])

    kept = luma[skin_pixels(ramp, "bt709")]

    assert kept.min() == pytest.approx(0.38, abs=0.005)
    assert kept.max() == pytest.approx(0.74, abs=0.005)


def test_pixels_of_another_chroma_are_left_out() -> None:
    """A fifth of the pixels, as light as the rest, but greenish: none of them stays."""
    rng = np.random.default_rng(3)
    pixels = 0.5 + np.array([0.08, -0.02, -0.06]) + rng.normal(0, 0.004, (500, 3))
    pixels[:100] += np.array([-0.06, 0.02, 0.03])

    kept = skin_pixels(pixels, "bt709")

    assert kept[:100].sum() == 0
    assert kept[100:].sum() > 150


def test_a_face_too_small_to_read_has_no_patch() -> None:
    """Under a few pixels from eyes to mouth nothing is claimed."""
    _, face = drawn(np.full(3, 0.3), 10)
    assert face_patch(face, (400, 225)) is None


@pytest.mark.parametrize("at", [(0.0, 0.0), (1.0, 1.0), (0.5, 0.0)])
def test_a_place_at_the_edge_stays_inside_the_picture(at: tuple[float, float]) -> None:
    """The square is cut off at the border and is never empty."""
    patch = point_patch(*at, (200, 100))
    assert patch.mask.size > 0
    assert 0 <= patch.rows.start < patch.rows.stop <= 100
    assert 0 <= patch.columns.start < patch.columns.stop <= 200


def test_the_middle_of_readings_goes_round_the_circle() -> None:
    """350 and 10 degrees are in the middle of 0, not of 180; grey ones do not vote."""
    readings = [SkinReading(350, 10, 40), SkinReading(10, 10, 50), SkinReading(None, 0.5, 60)]
    found = middle(readings)
    assert found.angle == pytest.approx(0.0, abs=1e-6) or found.angle == pytest.approx(360.0)
    assert found.luma == 50
    assert middle([SkinReading(None, 0.2, 30)]).angle is None


def test_a_reading_is_the_angle_of_its_signal() -> None:
    """100 % bars of BT.709: red at 102.9, yellow at 174.8, blue at 354.8 degrees (RP 219)."""
    for rgb, angle in (((1, 0, 0), 102.9), ((1, 1, 0), 174.8), ((0, 0, 1), 354.8)):
        reading = read_skin(np.tile(np.array(rgb, float), (9, 1)), "bt709")
        assert reading.angle == pytest.approx(angle, abs=0.1)
        assert reading.stray == pytest.approx(0.0, abs=1e-9)

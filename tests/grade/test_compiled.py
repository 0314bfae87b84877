"""Compiled against exact: the bound, the report, and that the report is true."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from evenhand.colourmath.difference import ciede2000, lab
from evenhand.colourmath.encodings import named, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.colourmath.ycbcr import to_codes, to_rgb
from evenhand.grade.compiled import compile_grade, grade_digest
from evenhand.grade.document import Adjustment, Cdl, Grade, Levelling, LookUse, White
from evenhand.grade.exact import SIGNAL_HIGH, SIGNAL_LOW, exact_transform
from evenhand.grade.output_transforms import output_encoding
from evenhand.grade.stress import stress_signals
from evenhand.kernels.frame import PlaneFormat
from evenhand.kernels.grade import grade_planes

PHOTOS = Path(__file__).parents[3] / "shared" / "photos"
PHONE_LOG = named("phone-log-1")
WARM = Levelling(0.5, White(4300.0, 0.004))
GRADED = Adjustment(
    cdl=Cdl((1.1, 1.0, 0.92), (0.01, 0.0, -0.01), (1.0, 1.05, 1.0), 1.1), contrast=1.1
)


def coded(light, encoding=PHONE_LOG):
    """Linear BT.709 (n, 3) as a camera codes it: noise of one code, Y'CbCr rounded to 10 bits."""
    signal = transfer_of(encoding).to_signal(light @ rgb_to_rgb("bt709", encoding.primaries).T)
    signal = signal + np.random.default_rng(8).normal(0.0, 1.0 / 876.0, signal.shape)
    codes = np.clip(np.round(to_codes(signal, 10, encoding.matrix, "narrow")), 0, 1023)
    return to_rgb(codes, 10, encoding.matrix, "narrow")


def made_scene(count=6_000):
    """Reflectances of moderate colour under a light that falls off, and a few lamps."""
    rng = np.random.default_rng(9)
    reflectance = rng.beta(2.0, 4.0, (count, 1)) * (0.55 + 0.45 * rng.random((count, 3)))
    light = reflectance * 2.0 ** rng.uniform(-3.0, 2.5, (count, 1))
    light[:50] = 10.0 * np.array([1.0, 0.8, 0.5])
    return light


@pytest.fixture(scope="module")
def scene():
    return coded(made_scene())


def photo(name):
    path = PHOTOS / f"{name}.npz"
    if not path.exists():
        pytest.skip(f"{path} is not on this machine")
    light = np.load(path)["linear_bt709"].astype(np.float64).reshape(-1, 3)
    light = light[np.isfinite(light).all(axis=1)]
    light *= 0.12 / np.median(light @ [0.2126, 0.7152, 0.0722])
    return coded(light)[np.random.default_rng(0).permutation(len(light))[:60_000]]


def exact_codes(grade, signal):
    output = output_encoding(grade.output_transform)
    return to_codes(exact_transform(grade)(signal), 10, output.matrix, "narrow")


@pytest.mark.parametrize(
    "grade",
    [
        pytest.param(Grade(PHONE_LOG), id="aces2"),
        pytest.param(Grade(PHONE_LOG, WARM, output_transform="plain-sdr"), id="plain levelled"),
        pytest.param(Grade(PHONE_LOG, WARM, GRADED), id="aces2 graded", marks=pytest.mark.slow),
        pytest.param(
            Grade(PHONE_LOG, output_transform="hlg-1000"), id="hlg", marks=pytest.mark.slow
        ),
    ],
)
def test_a_made_scene_is_within_the_bound(grade, scene):
    """The bound on the scene's pixels and on the stress set; neutral stays neutral."""
    report = compile_grade(grade, scene).report

    assert report.within_bound, report
    assert max(report.luma_p999, report.stress_luma_p999) <= 1.0
    assert report.de_max <= 1.0
    if report.keeps_neutral:
        assert report.neutral_cast <= 0.5


def test_the_report_is_true(scene):
    """Its figures, worked out again from the lattice by other means, on the pixels it measured."""
    grade = Grade(PHONE_LOG, WARM)
    compiled = compile_grade(grade, scene, size=33)
    measured = scene[1::2]

    exact, found = exact_codes(grade, measured), compiled.codes(measured)

    off = np.sort(np.abs(exact - found)[:, 0])
    at = int(0.999 * len(off))
    assert off[at - 2] <= compiled.report.luma_p999 <= off[at + 1]
    labs = [lab(to_rgb(codes, 10, "bt709", "narrow")) for codes in (exact, found)]
    assert compiled.report.de_max == pytest.approx(float(ciede2000(*labs).max()), rel=1e-6)
    assert compiled.report.pixels == len(measured)
    assert not compiled.report.within_bound  # 33 nodes at equal steps are too few, and it says so


def test_a_finer_lattice_is_nearer(scene):
    """Errors fall with the number of nodes."""
    coarse, fine = (compile_grade(Grade(PHONE_LOG), scene, size=n).report for n in (17, 65))

    assert fine.luma_p999 < 0.5 * coarse.luma_p999
    assert fine.de_p999 < 0.5 * coarse.de_p999


def test_grey_stays_grey_exactly(scene):
    """r = g = b comes out without chroma from a grade that leaves neutrals alone."""
    grey = np.repeat(np.linspace(0.0, 1.0, 500)[:, None], 3, axis=1)

    codes = compile_grade(Grade(PHONE_LOG), scene, size=33).codes(grey)

    assert np.abs(codes[:, 1:] - 512.0).max() < 0.05


def test_superwhite_and_subblack_are_covered(scene):
    """Codes above 940 and below 64 in the file are graded, not cut, when nobody gave an extent."""
    compiled = compile_grade(Grade(named("bt709"), output_transform="hlg-1000"), scene, size=65)

    assert compiled.domain == (SIGNAL_LOW, SIGNAL_HIGH)
    white, superwhite = compiled.codes(np.array([[1.0] * 3, [1.05] * 3]))[:, 0]
    assert superwhite > white + 5.0


def test_an_extent_narrows_the_lattice_but_never_past_a_pixel(scene):
    """A wrong extent is widened to what the samples hold."""
    compiled = compile_grade(Grade(PHONE_LOG), scene, extent=(0.3, 0.4), size=33)

    low, high = compiled.domain
    assert low <= scene.min()
    assert high >= min(scene.max(), SIGNAL_HIGH)
    assert high - low < SIGNAL_HIGH - SIGNAL_LOW


def test_one_colour_is_enough_to_compile():
    """A clip of one flat colour, and a single pixel."""
    for samples in (np.full((10, 3), 0.4), np.array([[0.2, 0.5, 0.9]])):
        report = compile_grade(Grade(PHONE_LOG), samples, extent=(0.4, 0.4), size=33).report

        assert np.isfinite(report.de_max)


@pytest.mark.slow
def test_the_kernel_gives_what_the_reference_reading_gives(scene):
    """The kernel's table, bent axis included: a 4:4:4 picture through it is within rounding."""
    compiled = compile_grade(Grade(PHONE_LOG, WARM), scene)
    codes = np.round(to_codes(scene[:4096], 10, "bt2020", "narrow")).astype(np.uint16)
    planes = tuple(np.ascontiguousarray(codes[:, c].reshape(64, 64)) for c in range(3))
    picture = PlaneFormat(10, 1, 1)
    target = picture.empty(64, 64)

    grade_planes(planes, picture, (0.2627, 0.0593), compiled.table(), target, picture, threads=1)

    expected = compiled.codes(to_rgb(codes, 10, "bt2020", "narrow"))
    found = np.stack([plane.ravel() for plane in target], axis=1)
    assert np.abs(found - expected).max() <= 0.5 + 0.05
    assert compiled.axis is not None


@pytest.mark.slow
@pytest.mark.parametrize("name", ["mountain", "carrots", "desk"])
def test_real_photographs_are_within_the_bound(name):
    """Daylight, studio and lamp-lit pictures behind phone log, with noise, levelled."""
    report = compile_grade(Grade(PHONE_LOG, WARM), photo(name)).report

    assert report.within_bound, report


@pytest.mark.slow
def test_saturated_lamp_light_misses_the_bound_and_says_so():
    """Reds on the edge of the gamut under a hard CDL: codes off, and the report admits it."""
    report = compile_grade(Grade(PHONE_LOG, WARM, GRADED), photo("still_life")).report

    assert not report.within_bound
    assert report.size == 129
    assert report.de_max <= 1.0  # what is off by codes is not off by colour


def test_the_stress_set_is_the_same_every_time_and_inside():
    """Fixed, between black and peak, with greys and colours; its shifted twin shares no colour."""
    for name in ("phone-log-1", "hlg", "bt709", "logc4"):
        signals = stress_signals(named(name))
        again = stress_signals.__wrapped__(named(name))

        np.testing.assert_array_equal(signals, again)
        assert len(signals) > 1000
        assert signals.max() <= 1.0 + 1e-9
        twin = stress_signals(named(name), 0.5)
        assert not set(map(tuple, signals.round(9))) & set(map(tuple, twin.round(9)))


def test_the_digest_follows_the_content():
    """The same grade, the same digest; any change another."""
    grades = [
        Grade(PHONE_LOG),
        Grade(PHONE_LOG, Levelling(0.1)),
        Grade(PHONE_LOG, look=LookUse("meadow", 0.5)),
        Grade(PHONE_LOG, look=LookUse("meadow", 0.6)),
        Grade(named("hlg")),
    ]
    digests = [grade_digest(grade) for grade in grades]

    assert len(set(digests)) == len(grades)
    assert grade_digest(Grade(named("phone-log-1"))) == digests[0]
    assert len(digests[0]) == 64

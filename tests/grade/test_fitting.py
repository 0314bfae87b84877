"""Looks fitted to made pairs: a known look, an 8-bit codec on both sides, judged where it was not
fitted.

The pictures are smooth fields of colour with the spread of natural ones; the slow test takes
photographs. The codec is 8-bit 4:2:0 DCT at quality 80: by itself it costs CIEDE2000 1 to 5.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.interpolate import PchipInterpolator
from scipy.sparse import linalg as sparse_linalg

from evenhand.colourmath.difference import ciede2000, lab
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.grade.fitting import SIZE, FitError, _solved, fit_pair, read
from evenhand.grade.lattice import corners
from evenhand.grade.looks import LOOKS
from evenhand.grade.output_transforms import render
from evenhand.grade.recipe import Recipe
from evenhand.grade.risingcurve import pooled, rising_curve, through, weighted_median
from evenhand.measure.beforeafter import laid_together

PHOTOS = Path(__file__).parents[3] / "shared" / "photos"
GREYS = np.linspace(0.0, 1.0, 1025)[:, None].repeat(3, 1)


def field(seed: int, size: tuple[int, int] = (150, 200)) -> np.ndarray:
    """A picture (h, w, 3): light with much range and little colour, as scenes have."""
    rng = np.random.default_rng(seed)

    def smooth(sigma: float) -> np.ndarray:
        noise = cv2.GaussianBlur(rng.standard_normal(size), (0, 0), sigma)
        return noise / noise.std()

    tone = 0.42 + 0.2 * smooth(16) + 0.05 * smooth(4)
    warm, green = 0.07 * smooth(12), 0.04 * smooth(9)
    return np.stack([tone + warm, tone + 0.3 * green, tone - warm - 0.5 * green], -1).clip(0, 1)


def coded(picture: np.ndarray) -> np.ndarray:
    """Through the codec."""
    eight = (picture[..., ::-1] * 255 + 0.5).astype(np.uint8)
    data = cv2.imencode(".jpg", eight, [cv2.IMWRITE_JPEG_QUALITY, 80])[1]
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1] / 255.0


def apart(lattice: np.ndarray, look: Recipe, pictures: list[np.ndarray]) -> np.ndarray:
    """CIEDE2000 of the table from the look itself on pictures without any codec."""
    signal = np.concatenate([picture.reshape(-1, 3) for picture in pictures])[::3]
    return ciede2000(lab(read(lattice, signal)), lab(look.apply(signal)))


def pair(look: Recipe, pictures: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    before = np.concatenate([coded(p).reshape(-1, 3) for p in pictures])
    after = np.concatenate([coded(look.apply(p)).reshape(-1, 3) for p in pictures])
    return before, after


SEEN, UNSEEN = [field(1), field(2), field(3)], [field(4), field(5)]


@pytest.mark.parametrize("name", ["oven-light", "daybreak", "parchment"])
def test_a_fitted_look_holds_on_pictures_it_has_not_seen(name: str) -> None:
    """Held-out p95 at most 2.5, far under what doing nothing leaves, and greys rise."""
    look = LOOKS[name]
    fit = fit_pair(*pair(look, SEEN))
    off = apart(fit.lattice, look, UNSEEN)
    nothing = apart(read_identity(), look, UNSEEN)

    assert np.quantile(off, 0.95) <= 2.5
    assert np.quantile(off, 0.95) < 0.5 * np.quantile(nothing, 0.95)
    assert np.diff(read(fit.lattice, GREYS) @ [0.2126, 0.7152, 0.0722]).min() > -0.5 / 1023
    assert 0.02 < fit.seen < 0.6
    assert fit.residual.median < fit.residual.untouched_median
    assert fit.mix is None


def read_identity() -> np.ndarray:
    axis = np.linspace(0, 1, 2)
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij")[::-1], axis=-1)


def test_a_pair_that_is_the_same_twice_gives_the_identity() -> None:
    """Within 1 CIEDE2000 wherever there was evidence."""
    fit = fit_pair(field(1), field(1))

    assert apart(fit.lattice, Recipe(name="n", title="N", purpose="N."), [field(2)]).max() < 1.0
    assert fit.residual.p95 < 0.2


def test_black_and_white_is_seen_and_its_shares_found() -> None:
    """Shares of light within 0.05 of those of the look, and colours it never saw come out right."""
    look = LOOKS["soot"]
    fit = fit_pair(*pair(look, SEEN))
    cube = np.random.default_rng(3).random((3000, 3))

    assert fit.mix is not None
    assert fit.mix == pytest.approx((0.50, 0.44, 0.06), abs=0.05)
    assert np.ptp(fit.lattice, axis=-1).max() == 0.0
    assert np.quantile(apart(fit.lattice, look, [cube]), 0.95) < 2.5


def test_clipped_and_missing_pixels_do_not_count() -> None:
    """A third of the picture burnt out, and NaN where nothing was registered: the same table."""
    look = LOOKS["daybreak"]
    before = field(1).reshape(-1, 3)
    after = look.apply(before)
    spoilt, ruined = before.copy(), after.copy()
    spoilt[::3], ruined[::3] = [1.0, 0.3, 0.3], [0.0, 1.0, 0.5]
    ruined[1::3] = np.nan
    kept = np.arange(len(before)) % 3 == 2

    whole = fit_pair(before[kept], after[kept])
    spoilt_fit = fit_pair(spoilt, ruined)

    assert np.array_equal(spoilt_fit.lattice, whole.lattice)


def test_pixels_that_are_not_trusted_do_not_count() -> None:
    """Trust of 0 is as good as absence."""
    before = field(1)
    after = LOOKS["rye"].apply(before)
    trust = np.ones(before.shape[:2])
    trust[:50] = 0.0
    wrong = after.copy()
    wrong[:50] = 0.5

    fit = fit_pair(before, wrong, trust)

    assert np.array_equal(fit.lattice, fit_pair(before[50:], after[50:]).lattice)


def test_a_few_wrong_pixels_are_outvoted() -> None:
    """A red label in the picture after: without Huber's weights the 99th percentile is over 9."""
    look = LOOKS["oven-light"]
    before = field(1)
    after = look.apply(before)
    after[20:28, 20:33] = [0.9, 0.1, 0.1]

    off = apart(fit_pair(before, after).lattice, look, [before])

    assert np.quantile(off, 0.99) < 1.5


def test_far_from_any_evidence_there_is_tone_alone() -> None:
    """A colour seven lattice steps from all that was seen gets the tone curve on each channel."""
    before = field(1) * 0.25 + 0.4
    after = LOOKS["daybreak"].apply(before)
    fit = fit_pair(before, after)
    corner = np.array([[1.0, 0.0, 1.0], [0.0, 0.0, 1.0]])

    assert fit.seen < 0.02
    assert read(fit.lattice, corner) == pytest.approx(fit.tone(corner), abs=1e-9)


def test_too_few_colours_are_refused() -> None:
    """A flat wall says nothing about a look."""
    with pytest.raises(FitError, match="60 are needed"):
        fit_pair(np.full((50, 50, 3), 0.4), np.full((50, 50, 3), 0.5))


@pytest.mark.oracle
def test_the_curve_is_that_of_another_implementation() -> None:
    """Inner pieces against SciPy's PCHIP (the same slopes; the end slopes differ on purpose)."""
    x = np.array([0.0, 0.1, 0.25, 0.4, 0.7, 0.85, 1.0])
    y = np.array([0.0, 0.05, 0.3, 0.3, 0.65, 0.9, 1.0])
    inside = np.linspace(0.1, 0.85, 400)

    assert through(x, y)(inside) == pytest.approx(PchipInterpolator(x, y)(inside), abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=200))
def test_a_rising_curve_rises_whatever_it_is_given(pairs: list[tuple[float, float]]) -> None:
    """Never falls, stays in 0..1, and is defined on the whole range."""
    before, after = np.array(pairs).T
    values = rising_curve(before, after, np.ones(len(before)))(np.linspace(0, 1, 500))

    assert np.diff(values).min() >= -1e-12
    assert values.min() >= 0.0
    assert values.max() <= 1.0


def test_pooling_is_the_nearest_rising_sequence() -> None:
    """By hand: 3, 1 with weights 1 and 3 pool to 1.5; what rises stays."""
    assert pooled(np.array([0.0, 3.0, 1.0, 4.0]), np.array([1.0, 1.0, 3.0, 1.0])) == pytest.approx(
        [0.0, 1.5, 1.5, 4.0]
    )
    assert weighted_median(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 5.0])) == 2.0


@pytest.mark.slow
@pytest.mark.skipif(not PHOTOS.is_dir(), reason="the photographs are not here")
@pytest.mark.parametrize(
    ("name", "most"),
    [
        ("oven-light", 2.5),
        ("daybreak", 2.5),
        ("small-hours", 2.5),
        ("rye", 2.6),
        ("parchment", 3.5),
    ],
)
def test_on_photographs_it_holds_as_well(name: str, most: float) -> None:
    """Three photographs to fit, two to judge: p95 at most 2.5.

    A print-like response, whose channels bend each by itself, is the hardest to carry over to the
    orange of carrots, which none of the three has.
    """
    pictures = []
    for photo in ("mountain", "still_life", "desk", "candle_glass", "carrots"):
        light = np.load(PHOTOS / f"{photo}.npz")["linear_bt709"].astype(np.float32)
        light = cv2.resize(light, None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA)
        gain = 0.14 / np.exp(np.log(np.maximum(light.mean(-1), 1e-3)).mean())
        ap1 = (light.reshape(-1, 3) * gain) @ rgb_to_rgb("bt709", "ap1").T
        pictures.append(render("aces2-sdr", ap1.astype(np.float64), None).reshape(light.shape))

    laid = [
        laid_together(
            coded(picture).astype(np.float32), coded(LOOKS[name].apply(picture)).astype(np.float32)
        )
        for picture in pictures[:3]
    ]
    fit = fit_pair(
        np.concatenate([one.before.reshape(-1, 3) for one in laid]),
        np.concatenate([one.after.reshape(-1, 3) for one in laid]),
        np.concatenate([one.trust.ravel() for one in laid]),
    )

    assert np.quantile(apart(fit.lattice, LOOKS[name], pictures[3:]), 0.95) <= most


@pytest.mark.oracle
@pytest.mark.slow
def test_the_table_is_the_one_that_a_direct_solver_finds() -> None:
    """The normal equations, built from sparse matrices and solved by SciPy, to 0.003 of signal."""
    n = SIZE
    rng = np.random.default_rng(0)
    signal = 0.2 + 0.6 * rng.random((400, 3))
    goal = 0.05 * np.sin(6 * signal[:, ::-1])
    weight = rng.random(400) / 400
    index, share = corners(n, signal * (n - 1))
    rows = np.tile(np.arange(400), 4)
    reading = sparse.csr_matrix((share.ravel(), (rows, index.ravel())), (400, n**3))
    second, eye = sparse.diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(n - 2, n)), sparse.eye(n)
    bends = [
        sparse.kron(sparse.kron(*pair), last)
        for pair, last in (((second, eye), eye), ((eye, second), eye), ((eye, eye), second))
    ]
    smooth = sum(bend.T @ bend for bend in bends)
    whole = reading.T @ sparse.diags(weight) @ reading
    whole = whole + (smooth + 1e-5 * sparse.eye(n**3)) / n**3
    right = reading.T @ (weight[:, None] * goal)
    expected = sparse_linalg.spsolve(whole.tocsc(), right)

    found = _solved(right, np.zeros((n**3, 3)), weight, (index, share))

    assert found == pytest.approx(expected, abs=3e-3)
    assert reading @ found == pytest.approx(reading @ expected, abs=1e-4)

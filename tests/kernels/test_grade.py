"""The grade kernel against the same definition in float64, and against itself."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import product

import kernel_reference as reference
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.kernels.frame import PlaneFormat
from evenhand.kernels.grade import grade_planes, warm
from evenhand.kernels.layout import TILE
from evenhand.kernels.table import KernelTable

BT709 = (0.2126, 0.0722)
BT2020 = (0.2627, 0.0593)
SOURCES = [
    PlaneFormat(bits, *sub, full)
    for bits, sub, full in product((8, 10, 12), ((2, 2), (2, 1), (1, 1)), (False, True))
]
TARGETS = [
    PlaneFormat(10, 2, 2),
    PlaneFormat(8, 2, 2),
    PlaneFormat(10, 2, 1),
    PlaneFormat(10, 1, 1),
    PlaneFormat(16, 1, 1),
    PlaneFormat(8, 2, 2, full=True),
    PlaneFormat(10, 2, 2, full=True),
    PlaneFormat(16, 1, 1, full=True),
]


def picture(form, height, width, seed=0):
    """Planes of random codes over the whole range of the format, in padded memory."""
    rng = np.random.default_rng(seed)
    planes = []
    for rows, columns in ((height, width), *[form.chroma_shape(height, width)] * 2):
        memory = rng.integers(0, 2**form.bits, (rows, columns + 5)).astype(form.dtype)
        planes.append(memory[:, :columns])
    return tuple(planes)


def random_lattice(size, seed=0):
    """Unrelated values at every node, so that a wrong vertex or weight shows."""
    rng = np.random.default_rng(seed)
    values = rng.uniform((64, 64, 64, 0), (940, 960, 960, 0), (size, size, size, 4))
    return values.astype(np.float32)


def run(planes, source, table, target, kr_kb=BT709, **how):
    out = target.empty(*planes[0].shape)
    grade_planes(planes, source, kr_kb, table, out, target, **how)
    return out


def assert_rounded(out, expected, slack):
    """Every code is `expected` rounded, within `slack` of a code where that is nearly a tie."""
    for plane, exact in zip(out, expected, strict=True):
        assert plane.shape == exact.shape
        assert np.abs(plane.astype(float) - exact).max() <= 0.5 + slack


@pytest.mark.oracle
@pytest.mark.parametrize("target", TARGETS, ids=str)
@pytest.mark.parametrize("source", SOURCES, ids=str)
def test_codes_are_those_of_the_definition(source, target):
    """Every pair of formats, at an odd size, gives the float64 result rounded to the nearest."""
    lattice, domain = random_lattice(5), (-0.1, 1.1)
    table = KernelTable.from_lattice(lattice, domain)
    planes = picture(source, 7, 13)
    expected = reference.grade(planes, source, BT709, lattice.astype(float), table.nodes(), target)
    # float32 places in the lattice are good to about 2e-7 of the domain; a 16-bit code is 64 times
    # finer than the lattice's, and this lattice crosses its whole range in a quarter of the domain
    assert_rounded(
        run(planes, source, table, target), expected, 0.15 if target.bits == 16 else 3e-3
    )


@pytest.mark.oracle
@settings(max_examples=60, deadline=None)
@given(
    source=st.sampled_from(SOURCES),
    target=st.sampled_from(TARGETS),
    height=st.integers(1, 9),
    width=st.one_of(st.integers(1, 40), st.integers(TILE - 2, TILE + 3)),
    seed=st.integers(0, 1000),
)
def test_any_size_is_worked_to_its_edges(source, target, height, width, seed):
    """Sizes down to one pixel, and both sides of the edge of a tile, match the definition."""
    lattice = random_lattice(3, seed)
    table = KernelTable.from_lattice(lattice)
    planes = picture(source, height, width, seed)
    expected = reference.grade(planes, source, BT2020, lattice.astype(float), table.nodes(), target)
    out = run(planes, source, table, target, BT2020)
    assert_rounded(out, expected, 0.15 if target.bits == 16 else 3e-3)


@pytest.mark.parametrize("size", [2, 17, 33, 65])
def test_lattices_of_any_size_are_read_right(size):
    """The code of every pixel follows the float64 lattice of that size."""
    lattice = random_lattice(size)
    table = KernelTable.from_lattice(lattice)
    source, target = PlaneFormat(10, 1, 1), PlaneFormat(10, 1, 1)
    planes = picture(source, 20, 60)
    expected = reference.grade(planes, source, BT709, lattice.astype(float), table.nodes(), target)
    assert_rounded(run(planes, source, table, target), expected, 0.05)


def bent_axis(kind):
    """An axis that no polynomial of a low degree follows, or one that is such a polynomial."""
    share = np.linspace(0, 1, 513)
    if kind == "free":
        return np.interp(share, (0, 0.3, 0.35, 0.8, 1), (0, 0.1, 0.4, 0.7, 1)).astype(np.float32)
    bent = share + 0.8 * share * (1 - share) * (0.4 - share**3)
    return bent.astype(np.float32)


@pytest.mark.parametrize("kind", ["free", "polynomial"])
def test_an_axis_places_the_nodes(kind):
    """With nodes along an axis the result is that of a lattice whose nodes lie there."""
    axis = bent_axis(kind)
    lattice, target = random_lattice(5), PlaneFormat(10, 1, 1)
    table = KernelTable.from_lattice(lattice, (-0.05, 1.05), axis)
    assert bool(table.curve) == (kind == "polynomial")
    assert np.abs(np.diff(np.diff(table.nodes()))).max() > 0.02
    source = PlaneFormat(10, 2, 1)
    planes = picture(source, 9, TILE + 31)
    signal = reference.to_signal(reference.full_size(planes, source), BT709)
    place = np.interp(signal, np.linspace(-0.05, 1.05, axis.size), 4 * axis.astype(float))
    expected = reference.to_planes(reference.tetrahedral(lattice.astype(float), place), target)
    assert_rounded(run(planes, source, table, target), expected, 0.05)


def test_signals_beyond_the_domain_take_its_end():
    """Superwhites and sub-blacks outside the domain get the value of the lattice's corner."""
    lattice = random_lattice(3)
    table = KernelTable.from_lattice(lattice, (0.0, 1.0))
    source = target = PlaneFormat(10, 1, 1)
    neutral = np.full((1, 2), 512, np.uint16)
    out = run((np.array([[4, 1019]], np.uint16), neutral, neutral), source, table, target)
    corners = np.stack([lattice[0, 0, 0], lattice[2, 2, 2]])[:, :3]
    np.testing.assert_array_equal(np.stack(out, -1)[0], np.floor(corners + 0.5))


def test_superwhites_pass_a_wider_domain():
    """A domain to 1.1 carries a narrow code of 1010 through an identity lattice."""
    nodes = np.linspace(-0.1, 1.1, 9)
    b, g, r = np.meshgrid(nodes, nodes, nodes, indexing="ij")
    luma = 0.2126 * r + 0.7152 * g + 0.0722 * b
    cb, cr = (b - luma) / 1.8556, (r - luma) / 1.5748
    lattice = np.stack([64 + 876 * luma, 512 + 896 * cb, 512 + 896 * cr, luma], -1)
    table = KernelTable.from_lattice(lattice.astype(np.float32), (-0.1, 1.1))
    source = target = PlaneFormat(10, 1, 1)
    luma = np.arange(4, 1013, dtype=np.uint16)[None]
    planes = (luma, np.full_like(luma, 512), np.full_like(luma, 512))
    for plane, same in zip(run(planes, source, table, target), planes, strict=True):
        np.testing.assert_array_equal(plane, same)


@pytest.mark.parametrize("target", TARGETS[:5], ids=str)
@pytest.mark.parametrize("dither", [False, True])
def test_threads_do_not_change_the_picture(target, dither):
    """One to five threads, our own or lent, give the same bits."""
    source = PlaneFormat(10, 2, 2)
    table = KernelTable.from_lattice(random_lattice(9))
    planes = picture(source, 31, 41)
    one = run(planes, source, table, target, dither=dither, frame=7, threads=1)
    with ThreadPoolExecutor(2) as pool:
        lent = run(planes, source, table, target, dither=dither, frame=7, threads=3, pool=pool)
    for other in (lent, run(planes, source, table, target, dither=dither, frame=7, threads=5)):
        for a, b in zip(one, other, strict=True):
            np.testing.assert_array_equal(a, b)


def flat_grade(code, target, height=128, width=1024, **how):
    """A picture of one colour through a lattice that answers `code` everywhere."""
    table = KernelTable.from_lattice(np.full((2, 2, 2, 4), code, np.float32))
    source = PlaneFormat(10, 2, 2)
    return run(picture(source, height, width), source, table, target, dither=True, **how)


@pytest.mark.parametrize("code", [400.0, 401.0, 401.7, 402.0])
def test_dither_keeps_the_mean_and_has_the_variance_of_triangular_noise(code):
    """Mean error within four standard errors of none, total error variance 1/4 code squared.

    Triangular noise of plus or minus one step makes the error's mean and variance independent of
    the signal: variance 1/6 + 1/12 (Lipshitz, Wannamaker and Vanderkooy, 1992).
    """
    luma, *chroma = flat_grade(code, PlaneFormat(8, 2, 2))
    for plane in (luma, *chroma):
        error = plane.astype(float) - code / 4
        assert abs(error.mean()) < 4 * 0.5 / np.sqrt(plane.size)
        assert error.var() == pytest.approx(0.25, rel=0.05)
        assert np.abs(error).max() <= 1.5


def test_dither_is_not_seen_as_a_pattern():
    """Neighbours in the row, in the column, the next frame and the other planes are unrelated."""
    target = PlaneFormat(8, 1, 1)
    first = [p.astype(float) - 100.3 for p in flat_grade(401.2, target, frame=10)]
    following = flat_grade(401.2, target, frame=11)[0].astype(float) - 100.3
    luma = first[0]
    pairs = [
        (luma[:, 1:], luma[:, :-1]), (luma[1:], luma[:-1]), (luma[1:, 1:], luma[:-1, :-1]),
        (luma, following), (luma, first[1]), (first[1], first[2]),
    ]  # fmt: skip
    for a, b in pairs:
        assert abs(np.corrcoef(a.ravel(), b.ravel())[0, 1]) < 4.5 / np.sqrt(a.size)


def test_dither_is_a_function_of_place_and_frame():
    """The same frame number gives the same bits, another gives others."""
    target = PlaneFormat(8, 2, 2)
    a, b, c = (flat_grade(401.2, target, 16, 64, frame=f)[0] for f in (3, 3, 4))
    np.testing.assert_array_equal(a, b)
    assert (a != c).mean() > 0.3


def test_padding_and_packing_of_planes_do_not_matter():
    """Padded rows, read-only planes and interleaved samples are read alike."""
    source, target = PlaneFormat(10, 2, 2), PlaneFormat(10, 2, 2)
    table = KernelTable.from_lattice(random_lattice(4))
    planes = picture(source, 10, 22)
    packed = tuple(np.ascontiguousarray(p) for p in planes)
    for p in packed:
        p.flags.writeable = False
    mixed = np.stack(planes[1:], axis=-1)
    results = [
        run(p, source, table, target)
        for p in (planes, packed, (planes[0], mixed[..., 0], mixed[..., 1]))
    ]
    for other in results[1:]:
        for a, b in zip(results[0], other, strict=True):
            np.testing.assert_array_equal(a, b)


def test_memory_beside_the_picture_is_left_alone():
    """Only the samples of the target are written, not the padding of its rows."""
    source = target = PlaneFormat(8, 2, 2)
    table = KernelTable.from_lattice(random_lattice(4))
    memory = [np.full((r, c + 9), 77, np.uint8) for r, c in ((11, 27), (6, 14), (6, 14))]
    out = tuple(m[:, :-9] for m in memory)
    grade_planes(picture(source, 11, 27), source, BT709, table, out, target, threads=2)
    for m in memory:
        assert (m[:, -9:] == 77).all()


def test_planes_that_do_not_fit_are_refused():
    """A wrong chroma size, sample type or target size is named, not read past its end."""
    form = PlaneFormat(10, 2, 2)
    table = KernelTable.from_lattice(random_lattice(2))
    y, u, v = picture(form, 6, 8)
    for planes, out, said in [
        ((y, u[:, :-1], v), form.empty(6, 8), "Cb is"),
        ((y, u, v.astype(np.uint8)), form.empty(6, 8), "Cr holds uint8"),
        ((y, u, v), form.empty(6, 10), "the target is"),
        (
            (y, u, v),
            tuple(np.empty((*p.shape, 2), p.dtype)[..., 0] for p in form.empty(6, 8)),
            "side by side",
        ),
    ]:
        with pytest.raises(ValueError, match=said):
            grade_planes(planes, form, BT709, table, out, form)


def test_tables_that_cannot_be_read_are_refused():
    """Values that are not finite, shapes, domains and axes that make no sense raise ValueError."""
    good = random_lattice(3)
    broken = good.copy()
    broken[1, 1, 1, 1] = np.nan
    for arguments, said in [
        ((broken,), "finite"),
        ((good[:2],), "a lattice is"),
        ((good[..., :2],), "a lattice is"),
        ((good[:1, :1, :1],), "nodes a side"),
        ((good, (1.0, 1.0)), "domain"),
        ((good, (0.0, np.inf)), "domain"),
        ((good, (0.0, 1.0), np.array([0.0, 0.6, 0.5, 1.0])), "rises"),
        ((good, (0.0, 1.0), np.array([0.1, 1.0])), "rises"),
    ]:
        with pytest.raises(ValueError, match=said):
            KernelTable.from_lattice(*arguments)


def test_formats_that_do_not_exist_are_refused():
    """Only the depths and subsamplings the kernels know can be named."""
    for arguments in [(9,), (10, 1, 2), (10, 4, 1)]:
        with pytest.raises(ValueError, match="expected"):
            PlaneFormat(*arguments)


def test_warming_up_compiles_the_common_formats():
    """After `warm`, a 10-bit picture compiles nothing more."""
    from evenhand.kernels.grade import _grade_band

    warm()
    before = len(_grade_band.signatures)
    assert before >= 4
    for bits, out in ((10, 10), (10, 8), (8, 10), (8, 8)):
        source, target = PlaneFormat(bits, 2, 1), PlaneFormat(out, 2, 2)
        run(picture(source, 4, 6), source, KernelTable.from_lattice(random_lattice(3)), target)
    assert len(_grade_band.signatures) == before

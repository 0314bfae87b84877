"""The looks are healthy: smooth, monotone, kind to skin, and exactly as strong as asked.

The measures: tone on a grey ramp, hue on rings of even lightness and chroma, skin on published
reflectances, smoothness by third differences in steps of visibility (PQ codes of a 100 cd/m²
display). Limits without a source are judgement: values that made faults (posterising, a cut out of
the hue circle, a green cast, crushed ends) exceed, as the last tests show.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise, product

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from evenhand.errors import UsageError
from evenhand.grade.looks import LOOKS, blend, look_named
from evenhand.grade.moves import Operator
from evenhand.grade.recipe import Recipe
from evenhand.grade.uniform import lab_to_light, lab_to_signal, signal_to_lab
from evenhand.measure.looks.health import health_of_look

Transform = Callable[[np.ndarray], np.ndarray]
LUMA = np.array([0.2126, 0.7152, 0.0722])
ALL = pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
COLOURED = [look for look in LOOKS.values() if look.name != "soot"]
IN_COLOUR = pytest.mark.parametrize("look", COLOURED, ids=[look.name for look in COLOURED])
GREYS = np.linspace(0.0, 1.0, 1025)[:, None].repeat(3, 1)


def lattice(size: int) -> np.ndarray:
    axis = np.linspace(0.0, 1.0, size)
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)


def pq_codes(signal: np.ndarray) -> np.ndarray:
    """10-bit PQ codes of the display's light: about equal steps of visibility (Barten)."""
    return 1023 * colour.models.eotf_inverse_ST2084(100.0 * np.clip(signal, 0, 1) ** 2.4)


def cielab(signal: np.ndarray) -> np.ndarray:
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    return colour.XYZ_to_Lab(signal**2.4 @ space.matrix_RGB_to_XYZ.T, space.whitepoint)


def skins() -> np.ndarray:
    """(24, 3) display signal of chart skins under D65 at 35, 70 and 100 % of their light.

    Two measured sets of the 24-patch chart, patches 1 and 2, and the four skins of a memory-colour
    chart: spectra from colour-science's data tables.
    """
    shape = colour.SpectralShape(380, 780, 5)
    charts = getattr(colour, next(n for n in dir(colour) if n.startswith("SDS_COLOURC")))
    patches = [
        charts[name][patch]
        for name, count in ((next(iter(charts)), 2), ("ISO 17321-1", 2), ("PMC", 4))
        for patch in list(charts[name])[:count]
    ]
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    weights = observer * colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values[:, None]
    xyz = np.array([p.copy().align(shape).values for p in patches]) @ weights / weights[:, 1].sum()
    light = xyz @ np.linalg.inv(colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ).T
    return np.concatenate([light * part for part in (0.35, 0.7, 1.0)]).clip(0, 1) ** (1 / 2.4)


def hue_turn(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Degrees of CIELAB hue from one set of signals to another."""
    a, b = (np.arctan2(lab[..., 2], lab[..., 1]) for lab in (cielab(before), cielab(after)))
    return np.degrees(np.angle(np.exp(1j * (b - a))))


def hue_runs(transform: Transform) -> np.ndarray:
    """Output hue steps for 2-degree steps round rings of even Oklab lightness and chroma, over 2.

    About each ring's own centre: a tint moves the ring as a whole and folds nothing.
    """
    hue = np.radians(np.arange(0, 360, 2.0))
    runs = []
    for lightness, chroma in product((0.4, 0.55, 0.7, 0.82), (0.04, 0.08)):
        lab = np.stack(
            [np.full_like(hue, lightness), chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1
        )
        light = lab_to_light(lab)
        if light.min() < 0 or light.max() > 1:
            continue
        out = signal_to_lab(transform(lab_to_signal(lab)))[:, 1:]
        turned = np.arctan2(*(out - out.mean(axis=0)).T[::-1])
        runs.append(np.degrees(np.angle(np.exp(1j * (np.roll(turned, -1) - turned)))) / 2)
    return np.array(runs)


def bend(transform: Transform, size: int = 33) -> tuple[float, float]:
    """Third differences in PQ codes, steps of 1/32: 99th percentile in the cube, worst on greys."""
    table = pq_codes(transform(lattice(size)))
    inner = [np.abs(np.diff(np.moveaxis(table, a, 0), 3, axis=0))[2:-2].ravel() for a in range(3)]
    grey = pq_codes(transform(np.linspace(0, 1, size)[:, None].repeat(3, 1)))
    worst = np.abs(np.diff(grey, 3, axis=0))[3:].max()
    return float(np.quantile(np.concatenate(inner), 0.99)), float(worst)


def falls_back_in_chroma(transform: Transform) -> float:
    """How far a colour comes nearer to grey although its input goes away from it, in Oklab."""
    worst = 0.0
    for lightness, hue in product((0.4, 0.55, 0.7), np.radians(np.arange(0, 360, 15))):
        chroma = np.linspace(0, 0.11, 45)
        lab = np.stack([np.full(45, lightness), chroma * np.cos(hue), chroma * np.sin(hue)], -1)
        light = lab_to_light(lab)
        lab = lab[(light.min(axis=-1) >= 0) & (light.max(axis=-1) <= 1)]
        out = signal_to_lab(transform(lab_to_signal(lab)))[:, 1:]
        away = np.hypot(*(out - out[0]).T)
        worst = max(worst, float((np.maximum.accumulate(away) - away).max()))
    return worst


@ALL
def test_grey_tones_keep_their_order_and_their_room(look: Recipe) -> None:
    """Luma of a grey ramp never falls; no tone is stretched over 2.2 times or squeezed under
    0.15."""
    luma = look.apply(GREYS) @ LUMA
    slope = np.diff(luma) * 1024

    assert slope.min() > 0
    assert slope.max() <= 2.2
    assert slope[20:1004].min() >= 0.15


@ALL
def test_the_ends_are_not_flat(look: Recipe) -> None:
    """Less than 4 % of the ramp lies within one 10-bit code of its darkest and lightest value."""
    luma = look.apply(GREYS) @ LUMA

    assert (luma < luma[0] + 1 / 1023).mean() < 0.04
    assert (luma > luma[-1] - 1 / 1023).mean() < 0.04
    assert luma[0] <= 0.06
    assert luma[-1] >= 0.95


@pytest.mark.oracle
@ALL
def test_greys_are_neutral_where_promised_and_only_leaning_where_not(look: Recipe) -> None:
    """CIEDE2000 of greys from their own neutral: 0 for a neutral look, under 6 for a tint."""
    lab = cielab(look.apply(GREYS[8:]))
    cast = colour.delta_E(lab, lab * [1, 0, 0], method="CIE 2000").max()

    assert cast < (1e-3 if look.is_neutral else 6.0)
    assert cast > (-1.0 if look.is_neutral else 1.0)  # a look that says it tints does


@ALL
def test_neutral_looks_keep_channels_equal(look: Recipe) -> None:
    """Where greys are promised to stay, R', G' and B' agree to 1e-12."""
    spread = np.ptp(look.apply(GREYS), axis=-1).max()

    assert (spread < 1e-12) == look.is_neutral


@IN_COLOUR
def test_hues_keep_their_order(look: Recipe) -> None:
    """Once round the hue circle the output never runs backwards, nor faster than 3 times."""
    runs = hue_runs(look.apply)

    assert runs.min() > 0
    assert runs.max() <= 3.0
    assert np.allclose(runs.sum(axis=1), 180)


@IN_COLOUR
def test_more_colour_in_is_more_colour_out(look: Recipe) -> None:
    """Going away from grey, the output does not turn back by more than 0.002 in Oklab."""
    assert falls_back_in_chroma(look.apply) <= 0.002


@pytest.mark.oracle
@IN_COLOUR
def test_skin_stays_skin(look: Recipe) -> None:
    """Chart skins turn by 9 degrees of CIELAB hue at most and keep 0.6 to 1.35 of their chroma."""
    before = skins()
    after = look.apply(before)
    chroma = np.hypot(*cielab(after).T[1:]) / np.hypot(*cielab(before).T[1:])

    assert np.abs(hue_turn(before, after)).max() <= 9.0
    assert chroma.min() >= 0.6
    assert chroma.max() <= 1.35


@pytest.mark.oracle
@ALL
def test_skins_keep_their_order_of_lightness(look: Recipe) -> None:
    """A skin that is lighter than another by over 1 L* stays lighter (black and white: by over
    5)."""
    before = skins()
    least = 5.0 if look.name == "soot" else 1.0
    order = np.argsort(cielab(before)[:, 0])
    lightness, after = cielab(before)[order, 0], cielab(look.apply(before))[order, 0]

    for i, j in pairwise(range(len(order))):
        if lightness[j] - lightness[i] > least:
            assert after[j] > after[i]


@ALL
def test_nothing_bends_enough_to_band(look: Recipe) -> None:
    """Third differences stay under 25 PQ codes in the cube and 4 on greys (noise of 1 %: 82,
    72)."""
    inside, greys = bend(look.apply)

    assert inside < 25
    assert greys < 4


@ALL
def test_a_ten_bit_ramp_shows_no_jumps(look: Recipe) -> None:
    """No step of a 10-bit grey ramp differs by over 0.6 PQ code from the mean of its neighbours."""
    ramp = (np.arange(64, 960) / 1023)[:, None].repeat(3, 1)
    steps = np.diff(pq_codes(look.apply(ramp) @ LUMA))
    trend = np.convolve(steps, np.ones(33) / 33, "same")

    assert np.abs(steps - trend)[20:-20].max() < 0.6


@ALL
def test_colours_are_not_pressed_against_the_walls(look: Recipe) -> None:
    """Of the inner points of a lattice less than 6 % have a channel pinned at 0 or 1."""
    out = look.apply(lattice(17)[1:-1, 1:-1, 1:-1])

    assert ((out <= 0.5 / 1023) | (out >= 1022.5 / 1023)).any(axis=-1).mean() < 0.06


def test_black_and_white_has_no_colour_at_all() -> None:
    """Every colour of the cube becomes a grey, and red is lighter than blue."""
    soot = LOOKS["soot"]
    out = soot.apply(lattice(9))

    assert np.ptp(out, axis=-1).max() < 1e-12
    red, blue = soot.apply(np.array([[0.8, 0.2, 0.2], [0.2, 0.2, 0.8]]))
    assert red[0] > blue[0]


@ALL
def test_no_strength_is_the_picture_itself(look: Recipe) -> None:
    """0 % gives the same bits, 100 % the look, and between them the way is straight."""
    signal = np.random.default_rng(7).random((500, 3))
    full = look.apply(signal)

    assert np.array_equal(blend(signal, look, 0.0), signal)
    assert np.array_equal(blend(signal, look, 1.0), full)
    assert blend(signal, look, 0.3) == pytest.approx(0.7 * signal + 0.3 * full, abs=1e-15)


@pytest.mark.parametrize("strength", [-0.01, 1.01, float("nan")])
def test_a_strength_outside_its_range_is_refused(strength: float) -> None:
    """Nothing is promised beyond 0..100 %."""
    with pytest.raises(UsageError, match="0 to 1"):
        blend(np.zeros((1, 3)), LOOKS["rye"], strength)


@settings(max_examples=60, deadline=None)
@given(
    signal=arrays(np.float64, (7, 3), elements=st.floats(-0.3, 1.5)),
    name=st.sampled_from(list(LOOKS)),
)
def test_any_signal_comes_out_finite_and_displayable(signal: np.ndarray, name: str) -> None:
    """Whatever goes in, 0..1 comes out, and a picture gives the same as its pixels."""
    out = LOOKS[name].apply(signal)

    assert np.isfinite(out).all()
    assert out.min() >= 0.0
    assert out.max() <= 1.0
    assert np.array_equal(LOOKS[name].apply(signal.reshape(7, 1, 3)), out.reshape(7, 1, 3))


@ALL
def test_every_health_test_is_passed(look: Recipe) -> None:
    """Not one warning at full strength."""
    full = health_of_look(look).strengths[-1]

    assert [(m.key, m.value) for m in full.measures if m.verdict != "pass"] == []


def test_looks_differ_from_each_other() -> None:
    """On skins, greys and a coarse lattice any two looks are 2 CIEDE2000 apart in the mean."""
    signal = np.concatenate([skins(), GREYS[64::64], lattice(5)[1:-1, 1:-1, 1:-1].reshape(-1, 3)])
    outs = [cielab(look.apply(signal)) for look in LOOKS.values()]

    for i, one in enumerate(outs):
        for other in outs[i + 1 :]:
            assert colour.delta_E(one, other, method="CIE 2000").mean() > 2.0


def test_a_look_says_what_it_does() -> None:
    """Every look has a purpose of one sentence and a line with a number for each of its steps."""
    for name, look in LOOKS.items():
        assert look.name == name
        assert look.space == "bt709-display"
        assert look.purpose.count(".") == 1
        assert look.purpose.endswith(".")
        assert len(look.moves) == len(look.steps)
        assert all(any(c.isdigit() for c in move) for move in look.moves)


def test_a_wrong_name_is_answered_with_the_right_ones() -> None:
    """A slip of the keyboard gets the name that was meant, and the whole list."""
    with pytest.raises(UsageError, match=r"Did you mean daybreak\?.*oven-light.*soot"):
        look_named("Day brake")
    assert look_named("rye") is LOOKS["rye"]


# What the measures must catch: each fault is one that a careless look has.
FAULTS: dict[str, tuple[Transform, Callable[[Transform], bool]]] = {
    "a hue band turned by more than it can bear": (
        lambda s: lab_to_signal(_turn(signal_to_lab(s), 50, 25, -70)),
        lambda t: bool(hue_runs(t).min() < 0),
    ),
    "24 steps": (lambda s: np.round(s * 23) / 23, lambda t: bend(t)[0] > 25),
    "a ripple on greys": (
        lambda s: s + 0.02 * np.sin(40 * s.mean(axis=-1, keepdims=True)),
        lambda t: bend(t)[1] > 4,
    ),
    "magenta skin": (
        lambda s: np.clip(s * [1.0, 0.88, 1.0], 0, 1),
        lambda t: bool(np.abs(hue_turn(skins(), t(skins()))).max() > 9),
    ),
    "colour cut off in the middle": (
        lambda s: lab_to_signal(_cut(signal_to_lab(s))),
        lambda t: falls_back_in_chroma(t) > 0.002,
    ),
}


def _turn(lab: np.ndarray, hue: float, half_width: float, turn: float) -> np.ndarray:
    from evenhand.grade.operators import Turn

    operator: Operator = Turn(hue=hue, half_width=half_width, turn=turn)
    return operator(lab)


def _cut(lab: np.ndarray) -> np.ndarray:
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    return lab * np.stack([np.ones_like(chroma), *[np.where(chroma > 0.06, 0.7, 1.0)] * 2], -1)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_made_fault_is_caught(fault: str) -> None:
    """The measures above see what they are there for."""
    transform, is_caught = FAULTS[fault]

    assert is_caught(transform)

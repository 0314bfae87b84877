"""The health of looks: each made fault is named, and looks without one are left in peace.

How often the limits are wrong on looks that nobody made for them is in docs/lookhealth.md; here a
reduced form: a gross fault of each kind fails by its own figure, a faint one passes.
"""

from __future__ import annotations

import colour
import made_looks as made
import msgspec
import numpy as np
import pytest

from evenhand.colourmath.cdl import saturate
from evenhand.colourmath.difference import lab
from evenhand.colourmath.encodings import named, transfer_of
from evenhand.colourmath.primaries import luminance_weights
from evenhand.grade import ocio
from evenhand.grade.document import Grade
from evenhand.grade.exact import exact_transform
from evenhand.grade.looks import LOOKS
from evenhand.grade.spaces import space_named
from evenhand.grade.tables import TableLook, lattice_of
from evenhand.grade.uniform import lab_to_signal, signal_to_lab
from evenhand.luts.tables import Table3D
from evenhand.measure.looks.colour import hue_turn
from evenhand.measure.looks.health import Health, figures, health_of_look, health_of_table, judged
from evenhand.measure.looks.limits import LIMITS, RANK
from evenhand.measure.looks.probes import SKINS, before, even_points, probes, skin_signal
from evenhand.measure.looks.space import on_display
from evenhand.measure.looks.table import interpolation_of_table


def verdicts(look: made.Transform, neutral: bool = True) -> dict[str, str]:
    """What is said of a look at full strength."""
    whole = made.Made("made", look, neutral)
    found = figures(lattice_of(whole, 33), whole.apply(probes().signal))
    return {m.key: m.verdict for m in judged(found, neutral, bool(found["hues"]))}


GROSS = [
    ("grey_drop", made.dip(0.06)),
    ("slope_max", made.steep(4.0)),
    ("kept", made.plateau(1.0)),
    ("lost_darks", made.crush(0.14)),
    ("lost_lights", made.crush(0.10)),
    ("black", made.lifted_black(0.25)),
    ("white", made.grey_white(0.35)),
    ("cast", made.green_cast(0.01)),
    ("ripple", made.ripple(0.02)),
    ("hue_fold", made.hue_fold(70.0)),
    ("hue_speed", made.hue_fold(40.0)),
    ("torn", made.sector_cut(0.8)),
    ("saturation_drop", made.saturation_break(0.35)),
    ("bend", made.noise(0.01)),
    ("grey_bend", made.dip(0.04)),
    ("step_8", made.posterised(1 / 48)),
    ("step_10", made.posterised(1 / 128)),
    ("pinned", made.saturated(1.0)),
    ("lost_detail", made.posterised(1 / 12)),
    ("skin_turn", made.skin_to_magenta(24.0)),
    ("skin_spread", made.skins_apart(18.0)),
    ("skin_chroma_low", made.pale_skin(0.8)),
    ("skin_chroma_high", made.saturated(0.7)),
    ("undone", made.swapped(1.0)),
]


@pytest.mark.parametrize(("key", "look"), GROSS, ids=[key for key, _ in GROSS])
def test_each_gross_fault_fails_by_its_own_figure(key: str, look: made.Transform) -> None:
    """And the identity, measured the same way, does not."""
    assert verdicts(look)[key] == "fail"
    assert verdicts(made.identity)[key] == "pass"


FAINT = [
    (made.dip, 0.005), (made.crush, 0.01), (made.steep, 1.2), (made.plateau, 0.3),
    (made.lifted_black, 0.03), (made.grey_white, 0.03), (made.green_cast, 0.003),
    (made.ripple, 0.0005), (made.hue_fold, 4.0), (made.skin_to_magenta, 4.0),
    (made.sector_cut, 0.02), (made.saturation_break, 0.02), (made.saturated, 0.1),
    (made.pale_skin, 0.2), (made.swapped, 0.1),
]  # fmt: skip


@pytest.mark.parametrize(("fault", "amount"), FAINT, ids=[f.__name__ for f, _ in FAINT])
def test_faint_faults_do_not_fail(fault: object, amount: float) -> None:
    """What hardly anybody would see is no failure; as of a look that may tint."""
    assert "fail" not in verdicts(fault(amount), neutral=False).values()  # type: ignore[operator]


def test_the_identity_passes_everything() -> None:
    """At every strength; every figure that has limits is there."""
    health = health_of_look(made.Made("identity", made.identity, True))

    assert [part.verdict for part in health.strengths] == ["pass"] * 3
    assert {m.key for m in health.strengths[-1].measures} == set(LIMITS)


@pytest.mark.parametrize("name", LOOKS)
def test_the_looks_that_evenhand_brings_do_not_fail(name: str) -> None:
    """At 50, 70 and 100 %."""
    health = health_of_look(LOOKS[name])

    assert [part.strength for part in health.strengths] == [0.5, 0.7, 1.0]
    assert "fail" not in [part.verdict for part in health.strengths], health.strengths[-1].faults


def test_a_look_that_may_tint_is_not_held_to_grey() -> None:
    """The same cast fails where the look says that greys stay, and passes where it does not."""
    assert verdicts(made.green_cast(0.01), neutral=True)["cast"] == "fail"
    assert verdicts(made.green_cast(0.01), neutral=False)["cast"] == "pass"


def test_a_tint_moves_hues_and_folds_none() -> None:
    """A toned, muted look: round grey its hues would turn back, round their own centre they run."""

    def toned(signal: np.ndarray) -> np.ndarray:
        even = signal_to_lab(signal) * np.array([1.0, 0.3, 0.3]) + np.array([0.0, 0.02, 0.05])
        return lab_to_signal(even)

    assert verdicts(toned, neutral=False)["hue_fold"] == "pass"


def test_a_split_tone_does_not_swing() -> None:
    """Darks one way and lights the other is lawful, whatever its size; twice as often is not."""

    def waves(count: float) -> made.Transform:
        tint = 0.03 * np.array([1.0, 0.0, -1.0])
        return lambda v: v + tint * np.sin(2 * np.pi * count * v.mean(axis=1, keepdims=True))

    assert verdicts(waves(1.0), neutral=False)["ripple"] == "pass"
    assert verdicts(waves(2.0), neutral=False)["ripple"] == "fail"


def test_black_and_white_is_not_asked_for_hues() -> None:
    """Not at lower strengths either, where skin is meant to be pale."""
    health = health_of_look(LOOKS["soot"])

    assert health.black_and_white
    for part in health.strengths:
        assert not {"hue_fold", "skin_turn", "skin_chroma_low"} & {m.key for m in part.measures}
    with pytest.raises(KeyError):
        health.strengths[0].value("hue_fold")


def test_two_colours_are_not_black_and_white() -> None:
    """A look that leaves one pair of opponent hues still has hues to judge."""
    assert verdicts(made.collapsed(1.0))["undone"] == "fail"


def test_the_verdict_is_the_worst_and_says_what_to_do() -> None:
    """Faults come worst first, each with a remedy; what passes has none."""
    health = health_of_look(made.Made("made", made.lifted_black(0.25)))
    last = health.strengths[-1]

    assert health.verdict == last.verdict == "fail"
    order = [RANK[m.verdict] for m in last.faults]
    assert order == sorted(order, reverse=True)
    for measure in last.measures:
        assert bool(measure.remedy) == (measure.verdict != "pass")
    assert health.passes_at == 0.7


def test_tone_measures_move_in_a_straight_line_with_strength() -> None:
    """out = in + strength · (look − in), so slope and ends do; one figure by hand."""
    health = health_of_look(made.Made("lifted", made.lifted_black(0.2)), strengths=(0.25, 0.5, 1.0))
    blacks = [part.value("black") for part in health.strengths]
    slopes = [part.value("slope_max") for part in health.strengths]

    np.testing.assert_allclose(blacks, [5.0, 10.0, 20.0], atol=1e-9)
    np.testing.assert_allclose(slopes, [0.95, 0.9, 0.8], atol=1e-9)


def test_health_survives_json() -> None:
    """As a shoot keeps it."""
    health = health_of_look(LOOKS["rye"])

    assert msgspec.json.decode(msgspec.json.encode(health), type=Health) == health


def test_a_table_is_measured_at_its_own_nodes() -> None:
    """A look that is one lattice keeps its size, and its faults."""
    lattice = lattice_of(made.Made("made", made.noise(0.01)), 17)
    look = TableLook(name="table", three=Table3D(lattice))

    assert health_of_look(look) == health_of_table(lattice, "table")
    assert health_of_look(look).size == 17
    assert health_of_look(look).verdict == "fail"


def test_a_swapped_order_of_channels_is_found() -> None:
    """Greys are right in such a table, so only colours can tell."""
    nodes = lattice_of(made.Made("made", made.identity, True), 17)
    health = health_of_table(nodes.transpose(2, 1, 0, 3), "swapped", neutral=True)

    assert health.strengths[-1].value("cast") == pytest.approx(0.0, abs=1e-9)
    assert health.strengths[-1].value("mirrored") == 100.0
    assert health.verdict == "fail"


@pytest.mark.parametrize("size", [2, 3, 5, 9, 65])
def test_tables_of_every_size_can_be_measured(size: int) -> None:
    """The smallest and a large one; nothing is wrong with them."""
    nodes = lattice_of(made.Made("made", made.identity, True), size)

    assert health_of_table(nodes, "nodes", neutral=True).verdict == "pass"


def test_values_outside_the_display_are_said() -> None:
    """A table may hold them; a display cuts them."""
    nodes = lattice_of(made.Made("made", made.identity), 17)
    wide = health_of_table(0.5 + 1.3 * (nodes - 0.5), "wide")

    assert wide.strengths[-1].value("outside") > 30.0
    assert {m.key: m.verdict for m in wide.strengths[-1].measures}["outside"] == "fail"


def test_the_error_of_a_table_is_near_what_every_second_node_says() -> None:
    """For a table whose look is lost: within 0.45 to 1.5 of the true error.

    So for 90 % of the looks of the bench; under it where the look bends at the display's limits.
    """
    look = LOOKS["daybreak"]
    true = health_of_look(look, size=17).strengths[-1].value("interpolation")

    assert 0.45 * true < interpolation_of_table(lattice_of(look, 17)) < 1.5 * true


def test_a_finer_table_has_a_smaller_error() -> None:
    """About a quarter for half the step."""
    look = LOOKS["oven-light"]
    coarse, fine = (health_of_look(look, n).strengths[-1].value("interpolation") for n in (17, 33))

    assert 2.5 < coarse / fine < 6.0


@pytest.mark.oracle
def test_hue_turns_agree_with_colour_science() -> None:
    """CIELAB hue angles of its own conversion."""
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    was, now = even_points(400)[:200], even_points(400)[200:]

    def hue(signal: np.ndarray) -> np.ndarray:
        xyz = signal**2.4 @ space.matrix_RGB_to_XYZ.T
        return colour.models.Lab_to_LCHab(colour.XYZ_to_Lab(xyz, space.whitepoint))[:, 2]

    theirs = (hue(now) - hue(was) + 180.0) % 360.0 - 180.0

    np.testing.assert_allclose(hue_turn(lab(was), lab(now)), theirs, atol=0.02)


@pytest.mark.oracle
def test_skins_are_those_of_the_published_spectra() -> None:
    """Under D65 by the CIE 1931 observer, from colour-science's tables of spectra."""
    shape = colour.SpectralShape(380, 780, 5)
    charts = getattr(colour, next(n for n in dir(colour) if n.startswith("SDS_COLOURC")))
    samples = colour.quality.cfi2017.load_TCS_CIE2017(shape).values.T
    spectra = {
        "memory colour, African": charts["PMC"]["African"],
        "memory colour, South Asian": charts["PMC"]["South Asian"],
        "memory colour, East Asian": list(charts["PMC"].values())[1],
        "memory colour, European": charts["PMC"]["Caucasian"],
        "24-patch chart, dark": charts[next(iter(charts))]["dark skin"],
        "24-patch chart, light": charts[next(iter(charts))]["light skin"],
        "ISO 17321-1, dark": charts["ISO 17321-1"]["dark skin"],
        "ISO 17321-1, light": charts["ISO 17321-1"]["light skin"],
        "CIE 13.3, sample 13": colour.quality.datasets.tcs.SDS_TCS["CIE 1995"]["TCS13"],
    }
    values = {name: s.copy().align(shape).values for name, s in spectra.items()}
    values |= {"CIE 224, sample 15": samples[14], "CIE 224, sample 18": samples[17]}
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    weights = observer * colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values[:, None]
    to_rgb = np.linalg.inv(colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ).T

    assert set(values) == {name for name, _ in SKINS}
    for name, light in SKINS:
        xyz = values[name] @ weights / weights[:, 1].sum()
        np.testing.assert_allclose(light, xyz @ to_rgb, atol=2e-6, err_msg=name)


def test_skins_fit_the_display() -> None:
    """All of them, lit and in shade; none is cut."""
    assert skin_signal().shape == (3, 11, 3)
    assert skin_signal().min() > 0.0
    assert skin_signal().max() < 1.0


def test_probes_are_what_they_are_called() -> None:
    """Ramps step by one 8-bit code, greys are grey, rings and rays lie in the display."""
    p = probes()

    for ramp in p.eight:
        step = np.abs(np.diff(p.signal[ramp], axis=0)).max(axis=1)
        np.testing.assert_allclose(step, 1 / 255, rtol=0.02)
    assert np.ptp(p.signal[p.greys], axis=1).max() == 0.0
    assert len(p.rings) >= 6
    assert len(p.rays) >= 90
    assert p.signal.min() >= 0.0
    assert p.signal.max() <= 1.0
    assert len(before().lab) == len(p.signal)


@pytest.mark.parametrize("space", ["acescct", "phone-log-1", "slog3-full", "hlg", "pq", "srgb"])
def test_nothing_in_another_space_is_nothing_on_the_display(space: str) -> None:
    """There and back: through ACES 2 its own way back is looser at the edges of the display."""
    points = even_points(500)
    error = np.abs(on_display(made.identity, space, space)(points) - points)

    through_aces = space in ("acescct", "phone-log-1", "slog3-full")
    assert np.percentile(error, 90) < (2e-5 if through_aces else 5e-6)
    assert np.percentile(error, 99) < (5e-3 if through_aces else 5e-6)
    assert error.max() < 0.05  # light that the primaries of a camera's log cannot hold


def test_a_log_look_acts_on_scene_light() -> None:
    """A stop more in ACEScct (1/17.52 of signal) takes 18 % grey to what ACES 2 shows of 36 %."""
    stop = on_display(lambda v: v + 1.0 / 17.52, "acescct", "acescct")
    card, brighter = (ocio.render("aces2-sdr", np.full((1, 3), x)) for x in (0.18, 0.36))

    np.testing.assert_allclose(stop(card), brighter, atol=5e-5)


@pytest.mark.parametrize(
    ("move", "verdict"),
    [
        (lambda v: saturate(v, 0.9, luminance_weights("ap1")), "pass"),
        (lambda v: v + 0.03, "pass"),
        (lambda v: v[:, [1, 0, 2]], "fail"),
    ],
    ids=["a little less colour", "half a stop", "red for green"],
)
def test_a_gentle_log_look_is_healthy_and_a_wild_one_not(
    move: made.Transform, verdict: str
) -> None:
    """A look is judged by what it does, not by the way to its space and back."""
    health = health_of_look(made.Made("log", move, space="acescct"), size=17, strengths=(1.0,))

    assert health.verdict == verdict


@pytest.mark.parametrize("output_transform", ["aces2-sdr", "plain-sdr"])
def test_an_honest_conversion_does_not_fail(output_transform: str) -> None:
    """Whichever one it holds: two that both keep greys and order differ by 29 degrees."""

    class Conversion(made.Made):
        gives = "bt709-display"

    show = exact_transform(Grade(named("phone-log-1"), output_transform=output_transform))
    health = health_of_look(Conversion("conversion", show, space="phone-log-1"), strengths=(1.0,))

    assert health.verdict in ("pass", "warn")


def test_a_conversion_is_measured_on_the_display() -> None:
    """From a log to the display: what shows light as ACES 2 does is healthy, and its swap not.

    Strength has nothing to mix with before the display, so it mixes there.
    """
    transfer = transfer_of(space_named("acescct"))

    class Conversion(made.Made):
        gives = "bt709-display"

    def show(signal: np.ndarray) -> np.ndarray:
        return ocio.render("aces2-sdr", np.asarray(transfer.to_light(signal))).astype(float)

    good = health_of_look(Conversion("conversion", show, space="acescct"), size=33)
    bad = health_of_look(
        Conversion("conversion", lambda v: show(v)[:, [1, 0, 2]], space="acescct"), size=33
    )

    assert good.strengths[-1].value("slope_max") == pytest.approx(1.0, abs=0.05)
    assert bad.strengths[-1].value("mirrored") > 50.0
    assert bad.verdict == "fail"

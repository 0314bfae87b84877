"""Looks as documents: taken strictly, written the same every time, and meaning the same after."""

from __future__ import annotations

import re
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import evenhand
from evenhand.colourmath import acescct
from evenhand.grade.document import Encoding, Grade, LookUse
from evenhand.grade.effects import Effects, Grain, Halation
from evenhand.grade.exact import exact_transform
from evenhand.grade.logmoves import LogLean, LogSaturation, LogSplit, LogTone
from evenhand.grade.looks import LOOKS, NAMES, blend
from evenhand.grade.moves import Tone
from evenhand.grade.operators import Lean, Saturation, SplitTone, Turn
from evenhand.grade.recipe import Recipe, RecipeError, checked, digest, parse, written

HEAD = 'format = 1\nname = "loaf"\ntitle = "Loaf"\npurpose = "To try."\n'
LOG_HEAD = HEAD + 'space = "acescct"\n'
FOLDER = Path(evenhand.__file__).parent / "looks"
GREYS = np.linspace(0.0, 1.0, 513)[:, None].repeat(3, 1)
AP1 = np.array([0.2722287168, 0.6740817658, 0.0536895174])


def tried(body: str, head: str = HEAD) -> str:
    """What is said of a document that is refused."""
    with pytest.raises(RecipeError) as error:
        parse(head + body, "loaf.toml")
    return str(error.value)


@pytest.mark.parametrize("name", NAMES)
def test_shipped_documents_are_canonical(name: str) -> None:
    """Each is written as it lies there, under its own name."""
    text = (FOLDER / f"{name}.toml").read_text("utf-8")

    assert parse(text).name == name
    assert written(parse(text)) == text


def test_every_document_beside_the_code_is_listed() -> None:
    """No look is forgotten, and none is missing."""
    assert {path.name for path in FOLDER.iterdir()} == {f"{name}.toml" for name in NAMES}
    assert list(LOOKS) == list(NAMES)
    assert len({digest(look) for look in LOOKS.values()}) == len(NAMES)


def test_a_look_without_moves_is_the_identity() -> None:
    """Bit by bit, also where the display's limit would draw pure colours in."""
    signal = np.random.default_rng(3).random((300, 3)).round(1)

    assert np.array_equal(parse(HEAD).apply(signal), signal)
    assert parse(HEAD).moves == ()
    assert parse(HEAD).is_neutral


CHOSEN = st.builds(
    Recipe,
    name=st.from_regex(r"[a-z]{1,9}(-[a-z0-9]{1,5})?", fullmatch=True),
    title=st.text(
        st.characters(categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=30
    ).filter(lambda text: bool(text.strip()) and text.isprintable()),
    purpose=st.just('A "quoted" \\ purpose.'),
    model=st.sampled_from(["oklab", "ipt"]),
    steps=st.lists(
        st.one_of(
            st.builds(Tone, contrast=st.floats(0.4, 1.8), black=st.floats(0, 0.08)),
            st.builds(
                Turn, hue=st.floats(0, 360), half_width=st.just(50.0), turn=st.floats(-20, 20)
            ),
            st.builds(SplitTone, dark=st.builds(Lean, hue=st.floats(0, 360), amount=st.just(0.01))),
            st.builds(
                SplitTone,
                light=st.builds(Lean, kelvin=st.floats(6000, 7000)),
                keep_skin=st.just(0.1),
            ),
        ),
        max_size=4,
    ).map(tuple),
    effects=st.builds(
        Effects,
        grain=st.one_of(st.none(), st.builds(Grain, stops=st.floats(0, 0.3))),
        halation=st.one_of(st.none(), st.builds(Halation, amount=st.floats(0, 0.5))),
    ),
)


@settings(max_examples=80, deadline=None)
@given(recipe=CHOSEN)
def test_what_is_written_is_read_as_the_same(recipe: Recipe) -> None:
    """Recipe to text to recipe: equal records, equal bytes, equal digest."""
    text = written(checked(recipe))

    assert parse(text) == recipe
    assert written(parse(text)) == text
    assert digest(parse(text)) == digest(recipe)


def test_order_and_comments_of_a_document_do_not_count() -> None:
    """The digest is of what a document says; a changed number changes it."""
    body = '[[moves]]\nmove = "tone"\n'
    one = parse(HEAD + body + "contrast = 1.2\ntoe = 0.3\n")
    other = parse("# mine\n" + HEAD + body + "toe = 0.30 # soft\ncontrast = 1.2\npivot = 0.5\n")

    assert digest(one) == digest(other)
    assert digest(one) != digest(parse(HEAD + body + "contrast = 1.21\ntoe = 0.3\n"))
    assert one.moves == ("contrast 1.20 about 50% signal, toe 0.30, shoulder 0.00",)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("contrast = 1.2\n", r"unknown key contrast.*Allowed are: name, title"),
        (
            '[[moves]]\nmove = "tone"\ncontrst = 1.2\n',
            "move 1 .tone.: unknown key contrst.*contrast?",
        ),
        ('[[moves]]\nmove = "tone"\ncontrast = 2.5\n', "Expected float <= 1.8 - at contrast"),
        ('[[moves]]\nmove = "tone"\ncontrast = "1"\n', "got str - at contrast"),
        ('[[moves]]\nmove = "tone"\ncontrast = true\n', "got bool - at contrast"),
        ('[[moves]]\nmove = "tone"\ncontrast = nan\n', r"moves\[1\].contrast is nan"),
        ('[[moves]]\nmove = "tone"\ncontrast = -inf\n', "contrast is -inf"),
        ('[[moves]]\nmove = "tones"\n', "unknown kind 'tones'. Did you mean tone?"),
        ("[[moves]]\ncontrast = 1.0\n", "unknown kind None"),
        ('[[moves]]\nmove = "turn"\nhue = 20.0\n', "half_width"),
        ('[[moves]]\nmove = "turn"\nhue = 20.0\nhalf_width = 40.0\nturn = 30.0\n', "would fold"),
        (
            '[[moves]]\nmove = "split-tone"\ndark = { hue = 20.0 }\n',
            "takes hue and amount, or kelvin",
        ),
        ('[[moves]]\nmove = "split-tone"\ndark = { hue = 2.0, kelvin = 3000.0 }\n', "no hue"),
        ('[[moves]]\nmove = "split-tone"\ndark = { kelvn = 3000.0 }\n', "dark.unknown key kelvn"),
        ('[[moves]]\nmove = "split-tone"\nlight = { kelvin = 2500.0 }\n', "at most 0.025"),
        ('[[moves]]\nmove = "black-and-white"\nred = 0.0\ngreen = 0.0\nblue = 0.0\n', "all 0"),
        ("moves = 3\n", "not a list of tables"),
        ("moves = [3]\n", "not a list of tables"),
        ('[[moves]]\nmove = "middle"\namount = 0.0\n' * 25, "25 moves"),
        ("[effects]\nbloom = 1\n", "unknown key bloom"),
        ("[effects.grain]\nstops = 0.1\nsise = 0.1\n", "unknown key sise. Did you mean size?"),
        ("[effects.grain]\nstops = 3.0\n", "<= 0.3 - at effects.grain.stops"),
        ("effects = 4\n", "Expected object, got int - at effects"),
        ('space = "bt709"\n', "Invalid enum value 'bt709' - at space"),
        ("a = [\n", "not TOML.*line"),
        ('title = "again"\n', "not TOML.*line 5"),
        ("# " + "x" * 70_000, "over 65536 bytes"),
    ],
)
def test_what_a_look_cannot_be_is_refused_by_name(body: str, said: str) -> None:
    """With the key or the line, what is allowed, and the nearest name."""
    assert re.search(said, tried(body), re.DOTALL)


@pytest.mark.parametrize(
    ("head", "said"),
    [
        (HEAD.replace("format = 1", "format = 2"), "format is 2. This evenhand reads format = 1"),
        (HEAD.replace("format = 1", "format = true"), "format is True"),
        (HEAD.replace("format = 1\n", ""), "format is missing"),
        (HEAD.replace("loaf", "../loaf", 1), "name is '../loaf'"),
        (HEAD.replace("Loaf", " "), "title is empty"),
        (HEAD.replace("To try", "To\\ntry"), "purpose is empty, long or unprintable"),
        (LOG_HEAD + 'model = "ipt"\n', "model has no meaning in acescct"),
        (LOG_HEAD + '[[moves]]\nmove = "turn"\n', "unknown kind 'turn'.*tone-in-stops, split-tone"),
    ],
)
def test_what_a_document_must_say_is_asked_for(head: str, said: str) -> None:
    """A version, a name that can be a file's, a line of purpose."""
    assert re.search(said, tried("", head))


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=300))
def test_any_text_is_answered_with_one_kind_of_error(text: str) -> None:
    """Rubbish of any kind: a look, or a RecipeError."""
    for body in (text, HEAD + text, HEAD + f"[[moves]]\n{text}"):
        try:
            parse(body)
        except RecipeError as error:
            assert error.remedy  # noqa: PT017


def acescct_greys() -> np.ndarray:
    return np.linspace(0.08, 0.95, 401)[:, None].repeat(3, 1)


LOG_LOOK = Recipe(
    name="log-loaf",
    title="Log loaf",
    purpose="To try.",
    space="acescct",
    steps=(
        LogTone(slope=1.2, toe=4.0, shoulder=5.0, beyond=0.8),
        LogSaturation(dark=0.7, mid=1.1, light=0.9),
    ),
)


def test_a_log_look_keeps_greys_and_middle_grey() -> None:
    """Channels of greys stay equal, 18 % grey stays, and the slope there is what was asked for."""
    greys = acescct_greys()
    near = np.full((2, 3), acescct.GREY) + np.array([[-1e-5], [1e-5]])
    out = LOG_LOOK.apply(near)[:, 0]

    assert np.ptp(LOG_LOOK.apply(greys), axis=1).max() < 1e-12
    assert out.mean() == pytest.approx(acescct.GREY, abs=1e-9)
    assert np.diff(out) / 2e-5 == pytest.approx(1.2, abs=1e-6)


@pytest.mark.oracle
def test_a_log_tone_counts_real_stops() -> None:
    """Six stops over grey by colour-science's ACEScct; the curve's bend by its own integral there.

    Beyond the shoulder (5 stops) it runs at 0.8: y(6) = 0.8 · 6 + (1.2 − 0.8) · 5 · 16/35.
    """
    space = colour.models.log_encoding_ACEScct
    signal = np.repeat(space(0.18 * 2.0 ** np.array([[6.0]])), 3, axis=1)
    expected = space(0.18 * 2.0 ** (0.8 * 6 + 0.4 * 5 * 16 / 35))

    assert LOG_LOOK.steps[0](signal) == pytest.approx(np.full((1, 3), expected), abs=1e-6)


@pytest.mark.oracle
def test_a_log_lean_by_kelvin_moves_a_grey_to_that_light() -> None:
    """The full offset gives grey the chromaticity of the black body, seen from AP1 by Bradford."""
    lean = LogLean(kelvin=5000.0)
    grey = np.full(3, acescct.GREY) + lean.offset() / 17.52
    spaces = colour.RGB_COLOURSPACES
    light = colour.RGB_to_RGB(
        colour.models.log_decoding_ACEScct(grey),
        spaces["ACEScg"],
        spaces["ITU-R BT.709"],
        "Bradford",
    )
    seen = colour.XYZ_to_xy(spaces["ITU-R BT.709"].matrix_RGB_to_XYZ @ light)
    expected = colour.UCS_uv_to_xy(colour.CCT_to_uv(np.array([5000.0, 0.0]), method="Ohno 2013"))

    assert seen == pytest.approx(expected, abs=3e-4)
    assert lean.offset() @ AP1 == pytest.approx(0.0, abs=1e-9)


def test_moves_in_stops_leave_luma_but_for_tone() -> None:
    """Split tone and saturation keep AP1 luma of the signal to the last digit."""
    signal = np.random.default_rng(2).random((400, 3)) * 0.7 + 0.1
    split = LogSplit(dark=LogLean(stops=(-0.2, 0.0, 0.3)), light=LogLean(kelvin=5200.0))
    for move in (split, LogSaturation(dark=0.3, mid=1.2, light=0.5)):
        assert move(signal) @ AP1 == pytest.approx(signal @ AP1, abs=1e-10)
    assert np.abs(split(signal) - signal).max() > 0.01
    assert not split.is_neutral


def test_a_log_look_goes_through_a_whole_grade() -> None:
    """Before the output transform; full saturation of 0 gives a grey picture out of any."""
    grey = Recipe(
        name="g",
        title="G",
        purpose="G.",
        space="acescct",
        steps=(LogSaturation(dark=0.0, mid=0.0, light=0.0),),
    )
    grade = Grade(encoding=Encoding("phone-log-1", "phone-log", "bt2020", "bt2020", "narrow"))
    looked = Grade(encoding=grade.encoding, look=LookUse("g", 1.0))
    signal = np.random.default_rng(4).random((200, 3)) * 0.5 + 0.3

    out = exact_transform(looked, lambda name: grey)(signal)

    assert np.ptp(out, axis=1).max() < 2e-3
    assert np.ptp(exact_transform(grade)(signal), axis=1).max() > 0.1


@pytest.mark.parametrize("model", ["oklab", "ipt"])
def test_greys_of_a_neutral_look_stay_in_both_spaces(model: str) -> None:
    """Tone, colour and density together: R', G' and B' of greys agree to 1e-12."""
    steps = (
        Tone(contrast=1.2, toe=0.3),
        Saturation(mid=1.2),
        Turn(hue=140.0, half_width=60.0, turn=12.0),
    )
    look = Recipe(name="n", title="N", purpose="N.", model=model, steps=steps)  # type: ignore[arg-type]

    assert np.ptp(look.apply(GREYS), axis=1).max() < 1e-12


def test_strength_is_linear_in_a_log_space_too() -> None:
    """0 % is the picture to the bit, 100 % the look, and half is half."""
    signal = acescct_greys() + np.array([0.0, 0.01, -0.02])

    assert np.array_equal(blend(signal, LOG_LOOK, 0.0), signal)
    assert np.array_equal(blend(signal, LOG_LOOK, 1.0), LOG_LOOK.apply(signal))
    assert blend(signal, LOG_LOOK, 0.5) == pytest.approx((signal + LOG_LOOK.apply(signal)) / 2)

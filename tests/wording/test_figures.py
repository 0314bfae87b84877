"""Each figure is written in one way, with its sign and its unit."""

from __future__ import annotations

import pytest

from evenhand.grade.document import White
from evenhand.measure.decisions import Difference
from evenhand.wording import figures
from evenhand.wording.figures import NBSP, plain


@pytest.mark.parametrize(
    ("got", "wanted"),
    [
        (figures.stops(-1.4), "−1.40 stops"),
        (figures.stops(0.3), "+0.30 stop"),
        (figures.stops(-0.001), "0.00 stop"),
        (figures.stops(1.001), "+1.00 stop"),
        (figures.size_of_stops(-1.4), "1.40 stops"),
        (figures.mired(-12.04), "−12.0 mired"),
        (figures.size_of_mired(-12.04, 0), "12 mired"),
        (figures.kelvin(5648.4), "5648 K"),
        (figures.duv(-0.0021), "Duv −0.0021"),
        (figures.white(White(5600.0, 0.0032)), "5600 K, Duv +0.0032"),
        (figures.difference(Difference(0.3, -4.0, 0.0)), "+0.30 stop, −4.0 mired, Duv 0.0000"),
        (figures.difference(None), "–"),
        (
            figures.apart(Difference(-0.65, 21.0, 0.003)),
            "0.65 stop darker, 21.0 mired warmer, Duv 0.0030 greener",
        ),
        (
            figures.apart(Difference(0.5, -3.0, -0.001)),
            "0.50 stop brighter, 3.0 mired cooler, Duv 0.0010 more magenta",
        ),
        (figures.apart(Difference(0.5, 0.04, 0.0)), "0.50 stop brighter"),
        (figures.apart(Difference(0.001, 0.0, 0.0)), "no difference that shows"),
        (figures.percent(0.97), "97 %"),
        (figures.percent(0.0123, 1), "1.2 %"),
        (figures.strength(0.7), "70 %"),
        (figures.strength(0.125), "12.5 %"),
        (figures.small_percent(0.0), "0 %"),
        (figures.small_percent(0.003), "under 0.01 %"),
        (figures.small_percent(2.614), "2.61 %"),
        (figures.size(41_234_000), "41.2 MB"),
        (figures.size(812), "812 bytes"),
        (figures.size(999_600_000_000), "1000 GB"),
        (figures.seconds(2.0), "2.0 s"),
        (figures.seconds(3725.0), "1 h 2 min 5 s"),
        (figures.counted(0, "clip"), "no clips"),
        (figures.counted(1, "clip"), "1 clip"),
    ],
)
def test_figures_carry_sign_and_unit(got: str, wanted: str) -> None:
    """Each figure as a person would write it."""
    assert got.replace(NBSP, " ") == wanted


def test_a_number_and_its_unit_stay_on_one_line() -> None:
    """There is no space between them at which a line could break."""
    written = (figures.stops(-1.4), figures.kelvin(5600), figures.percent(0.5), figures.mired(3.0))

    assert [text for text in written if " " in text] == []


def test_a_terminal_has_the_signs_of_a_keyboard() -> None:
    """What is shown can be pasted: `--exposure -1.40`."""
    assert plain(f"{figures.stops(-1.4)} → 0") == "-1.40 stops -> 0"

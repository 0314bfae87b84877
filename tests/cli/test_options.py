"""Times and numbers as a person writes them."""

from __future__ import annotations

from fractions import Fraction

import click
import pytest

from evenhand.cli.options import At, Number, Strength, seconds

NTSC = Fraction(30000, 1001)


@pytest.mark.parametrize(
    ("text", "rate", "frame"),
    [
        ("3s", Fraction(25), 75),
        ("75f", Fraction(25), 75),
        ("00:00:03:00", Fraction(25), 75),
        ("75f", NTSC, 75),
        # SMPTE ST 12-1: without drop-frame every second counts 30 frames, slow or not.
        ("00:01:00:00", NTSC, 1800),
        # Drop-frame leaves out ;00 and ;01 of every minute but each tenth: the frame after
        # 00:00:59;29 is 00:01:00;02, and one hour is 107 892 frames.
        ("00:00:59;29", NTSC, 1799),
        ("00:01:00;02", NTSC, 1800),
        ("00:10:00;00", NTSC, 17982),
        ("01:00:00;00", NTSC, 107892),
        ("00:01:00;04", 2 * NTSC, 3600),
    ],
)
def test_a_time_names_a_frame(text: str, rate: Fraction, frame: int) -> None:
    """Seconds, frames and timecodes come to the same frame of the clip."""
    assert seconds(At().convert(text, None, None), rate) * rate == frame


@pytest.mark.parametrize("text", ["00:00:01:25", "00:00:60:00", "00:60:00:00"])
def test_a_timecode_that_the_rate_does_not_have_is_refused(text: str) -> None:
    """At 25 frames a second the last frame of a second is 24."""
    with pytest.raises(click.BadParameter, match="59:24"):
        seconds(text, Fraction(25))


@pytest.mark.parametrize("text", ["3x", "-1s", "1:00", "", "3 s", "00:00:01"])
def test_other_writing_is_refused_with_the_forms(text: str) -> None:
    """The message shows the three forms."""
    with pytest.raises(click.BadParameter, match="3s, 75f or 00:00:03:00"):
        At().convert(text, None, None)


def test_a_strength_without_its_sign_is_asked_about() -> None:
    """70 is not 7000 %."""
    with pytest.raises(click.BadParameter, match=r"Did you mean 70%\?"):
        Strength().convert("70", None, None)


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "17", "a"])
def test_a_number_is_finite_and_within_its_bounds(text: str) -> None:
    """What could not be kept is not taken."""
    with pytest.raises(click.BadParameter):
        Number(-16, 16, "stops").convert(text, None, None)

"""The strip of the ends of the range stands where its figures say."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from evenhand.drawing.ends import ends_svg
from evenhand.measure.ends import EndsOverTime, WorstMoment
from evenhand.wording.figures import NBSP

SVG = "{http://www.w3.org/2000/svg}"


def ends(clipped: tuple[float, ...], crushed: tuple[float, ...]) -> EndsOverTime:
    """Frames at 1, 2, 3… seconds."""
    times = tuple(float(i + 1) for i in range(len(clipped)))
    return EndsOverTime(
        clip_level=99.0,
        clip_from="picture",
        clip_stops=4.0,
        black_level=15.0,
        seconds=times,
        clipped=clipped,
        crushed=crushed,
        worst_clipped=WorstMoment(2.0, max(clipped)),
        worst_crushed=WorstMoment(3.0, max(crushed)),
    )


def stems(svg: str, style: str) -> list[tuple[float, float]]:
    """Place and signed height (up is positive) of the stems of a kind."""
    lines = [e for e in ET.fromstring(svg).iter(f"{SVG}line") if e.get("class") == style]
    return [(float(e.attrib["x1"]), float(e.attrib["y1"]) - float(e.attrib["y2"])) for e in lines]


def test_clipped_goes_up_and_crushed_down_at_one_scale() -> None:
    """Twice the share is twice the height; a frame that lost nothing has no stem."""
    svg = ends_svg(ends((0.0, 8.0, 4.0), (2.0, 0.0, 8.0)), 4.0, "x")
    up, down = stems(svg, "en-up"), stems(svg, "en-down")

    assert [height > 0 for _, height in up] == [True, True]
    assert up[0][1] == pytest.approx(2 * up[1][1], abs=0.1)
    assert [height < 0 for _, height in down] == [True, True]
    assert down[1][1] == pytest.approx(-up[0][1], abs=0.1)


def test_time_runs_from_the_first_frame_to_the_last() -> None:
    """Frames at 1 and 3 s of four stand as far from the two ends."""
    svg = ends_svg(ends((3.0, 0.0, 3.0), (0.0, 0.0, 0.0)), 4.0, "x")
    (first, _), (last, _) = stems(svg, "en-up")

    assert first - 8.0 == pytest.approx(292.0 - last, abs=0.2)


def test_the_worst_moment_is_said() -> None:
    """Percent and time, in the picture and for who does not see it."""
    svg = ends_svg(ends((0.0, 8.25, 4.0), (0.0, 0.0, 0.004)), 4.0, "x")
    said = [e.text.replace(NBSP, " ") for e in ET.fromstring(svg).iter() if e.text]

    assert "clipped 8.25 % at worst, 2.0 s" in said
    assert "crushed under 0.01 % at worst, 3.0 s" in said
    assert "Clipped 8.25 % at worst, 2.0 s, crushed under 0.01 % at worst, 3.0 s." in said


def test_little_is_drawn_little() -> None:
    """A thousandth of a percent does not fill the strip."""
    svg = ends_svg(ends((0.0, 0.1), (0.0, 0.0)), None, "x")

    assert all(height < 3 for _, height in stems(svg, "en-up"))

"""The evenness chart says what its record says, and stands where its scales say."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from evenhand.colourmath.white import kelvin_duv
from evenhand.drawing.evenness import evenness_svg, exposure_svg, white_svg
from evenhand.drawing.panels import daylight_from_d65, lamp_class_from_d65
from evenhand.drawing.worst import in_words, worst
from evenhand.measure.decisions import Difference, Evenness, EvennessPoint, Spread

SVG = "{http://www.w3.org/2000/svg}"


def point(clip: str, before: Difference | None, after: Difference | None) -> EvennessPoint:
    return EvennessPoint(clip, "matched" if after else "unchanged", before, after)


def shop() -> Evenness:
    """Five clips: a reference, three measured (one not levelled), one that shares no view."""
    zero = Difference(0.0, 0.0, 0.0)
    return Evenness(
        "The shop",
        "A1",
        (
            EvennessPoint("A1", "reference", zero, zero),
            point("A2", Difference(-0.8, 13.0, -0.004), Difference(0.01, 0.4, 0.0001)),
            point("A3", None, None),
            point("A4", Difference(0.5, -20.0, 0.010), Difference(-0.02, -1.2, 0.0004)),
            point("A5", Difference(0.1, 2.0, 0.001), None),
        ),
        Spread(0.8, 20.0, 0.5, 12.0),
        Spread(0.1, 2.0, 0.05, 1.2),
        "A2",
    )


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def marks(root: ET.Element, kind: str) -> dict[str, ET.Element]:
    """The marks of a kind, by the clip that their title names."""
    found = {}
    for element in root.iter():
        title = element.find(f"{SVG}title")
        classes = element.get("class", "").split()
        if title is not None and kind in classes and "ev-key" not in classes:
            found[(title.text or "").split()[0].rstrip(":")] = element
    return found


def centre(element: ET.Element) -> tuple[float, float]:
    if "cx" in element.attrib:
        return float(element.attrib["cx"]), float(element.attrib["cy"])
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", element.attrib["d"])]
    return numbers[0], float(np.mean(numbers[1::2]))


def ticks(root: ET.Element, column: str) -> dict[float, float]:
    """Where the labelled ticks stand, by value: the labels at the left, or those below."""
    found = {}
    for element in root.iter(f"{SVG}text"):
        words = (element.text or "").replace("−", "-")
        if not re.fullmatch(r"[+-]?[\d.]+", words):
            continue
        beside = element.get("text-anchor") == "end"
        if beside and column == "y":
            found[float(words)] = float(element.attrib["y"]) - 4.5
        if not beside and column == "x":
            found[float(words)] = float(element.attrib["x"])
    return found


@pytest.mark.parametrize("draw", [exposure_svg, white_svg])
def test_every_measured_clip_has_one_hollow_and_every_levelled_one_a_filled_mark(draw) -> None:  # type: ignore[no-untyped-def]
    """Hollow marks are the clips measured before, filled ones those with a figure after."""
    root = parsed(draw(shop(), "x"))
    assert sorted(marks(root, "ev-before")) == ["A1", "A2", "A4", "A5"]
    assert sorted(marks(root, "ev-after")) == ["A1", "A2", "A4"]


def test_a_clip_without_a_shared_view_stands_at_the_margin_and_is_named() -> None:
    """It has a mark of its own kind, below the plot, and a line of words."""
    root = parsed(exposure_svg(shop(), "x"))
    assert list(marks(root, "ev-absent")) == ["A3"]
    said = " ".join(t.text or "" for t in root.iter(f"{SVG}text"))
    assert "no shared view, not measured: A3" in said
    assert "No shared view: A3." in in_words(shop(), "stops")


def test_marks_stand_where_the_scale_of_stops_says() -> None:
    """A clip half a stop up stands at the height that the ticks give to +0.5."""
    root = parsed(exposure_svg(shop(), "x"))
    at = ticks(root, "y")
    slope, start = np.polyfit(list(at), list(at.values()), 1)
    assert slope < 0  # brighter is up
    for kind, clip, value in (
        ("ev-before", "A4", 0.5),
        ("ev-before", "A2", -0.8),
        ("ev-after", "A2", 0.01),
    ):
        mark = marks(root, kind)[clip]
        assert centre(mark)[1] == pytest.approx(start + slope * value, abs=0.15)


def test_marks_stand_where_the_scales_of_white_say() -> None:
    """Mired runs right to warm, Duv up to green, each as the ticks say."""
    root = parsed(white_svg(shop(), "x"))
    across, up = ticks(root, "x"), ticks(root, "y")
    across_slope, across_start = np.polyfit(list(across), list(across.values()), 1)
    up_slope, up_start = np.polyfit(list(up), list(up.values()), 1)
    assert across_slope > 0 > up_slope
    x, y = centre(marks(root, "ev-before")["A4"])
    assert x == pytest.approx(across_start - 20.0 * across_slope, abs=0.2)
    assert y == pytest.approx(up_start + 0.010 * up_slope, abs=0.2)


@pytest.mark.oracle
def test_equal_distances_on_the_chart_are_equal_in_cie_1960_uv() -> None:
    """One mired along the locus is as long as its uv step, by two tabulated Planckian points.

    Planckian uv at 5600 K and 6500 K as in the tables behind Ohno (2013): (.2060988, .3174633) and
    (.2004490, .3103617).
    """
    step = math.dist((0.2060988, 0.3174633), (0.2004490, 0.3103617)) / (1e6 / 5600 - 1e6 / 6500)
    root = parsed(white_svg(shop(), "x"))
    across, up = ticks(root, "x"), ticks(root, "y")
    per_mired = np.polyfit(list(across), list(across.values()), 1)[0]
    per_uv = -np.polyfit(list(up), list(up.values()), 1)[0]
    assert per_mired / per_uv == pytest.approx(step, rel=0.01)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("name", "xy"),
    [("D55", (0.33243, 0.34744)), ("D65", (0.31270, 0.32900)), ("D75", (0.29903, 0.31488))],
)
def test_the_daylight_line_runs_through_the_daylight_illuminants(
    name: str, xy: tuple[float, float]
) -> None:
    """CIE 15 tables of D55, D65 and D75: within 0.1 mired and 1e-4 Duv of the line."""
    zero = kelvin_duv((0.3127, 0.3290))
    kelvin, duv = kelvin_duv(xy)
    line = np.array(daylight_from_d65())
    there = np.interp(1e6 / kelvin - 1e6 / zero[0], *line[np.argsort(line[:, 0])].T)
    assert duv - zero[1] == pytest.approx(there, abs=1e-4), name


@pytest.mark.oracle
def test_the_lamp_class_has_the_corners_of_the_standard() -> None:
    """Chromaticity corners of the 6500 K class by ANSI C78.377-2008 (table from memory)."""
    table = ((0.3205, 0.3481), (0.3028, 0.3304), (0.3068, 0.3113), (0.3221, 0.3261))
    zero = kelvin_duv((0.3127, 0.3290))
    for corner, drawn in zip(map(kelvin_duv, table), lamp_class_from_d65(), strict=True):
        assert 1e6 / corner[0] - 1e6 / zero[0] == pytest.approx(drawn[0], abs=0.1)
        assert corner[1] - zero[1] == pytest.approx(drawn[1], abs=5e-5)


def test_the_outlier_is_named_and_ringed() -> None:
    """Its name is set apart, and there is a ring round the mark of what is left of its fault."""
    for draw in (exposure_svg, white_svg):
        root = parsed(draw(shop(), "x"))
        named = [t.text for t in root.iter(f"{SVG}text") if "ev-out" in t.get("class", "")]
        assert named
        assert all(name is not None and name.startswith("A2") for name in named)
        rings = [e for e in root.iter(f"{SVG}circle") if e.get("class") == "ev-ring"]
        assert [centre(r) for r in rings] == [centre(marks(root, "ev-after")["A2"])]


def test_hostile_names_stay_text() -> None:
    """Markup in clip and place names is drawn as letters."""
    bad = "<script>alert(1)</script>&\"'.mov"
    points = (point(bad, Difference(0.0, 0.0, 0.0), None), point(f"{bad}2", None, None))
    record = Evenness(bad, bad, points, None, None, bad)
    root = parsed(evenness_svg(record))
    assert not list(root.iter(f"{SVG}script"))
    assert bad in (root.find(f"{SVG}title").text or "")  # type: ignore[union-attr]


@pytest.mark.parametrize(
    "clips",
    [
        (),
        (point("A1", None, None),),
        (point("A1", Difference(0.0, 0.0, 0.0), None),),
        (point("A1", None, Difference(0.2, 1.0, 0.0)),),
        tuple(
            point(f"a_long_clip_name_{i:03}", Difference(i / 10, i, i / 1e4), None)
            for i in range(60)
        ),
    ],
)
def test_odd_records_still_draw(clips: tuple[EvennessPoint, ...]) -> None:
    """No clips, one clip, no white, sixty clips with long names: all are well-formed pictures."""
    root = parsed(evenness_svg(Evenness("x", "A1", clips, None, None)))
    assert "nan" not in ET.tostring(root, "unicode").lower().replace("tolerance", "")


def test_the_words_say_the_worst_of_the_record() -> None:
    """The figures under the chart are those of the record, on the axis asked for."""
    assert (worst(shop(), "stops").before, worst(shop(), "mired").after) == (0.8, 2.0)
    assert in_words(shop(), "mired").startswith(
        "The white furthest from the reference is 20.0 mired off as shot and 2.0 mired once"
    )


def test_nothing_levelled_claims_no_result() -> None:
    """A place that was only measured has no figure after."""
    points = (point("A", Difference(0.0, 0.0, 0.0), None),)
    record = Evenness("x", "A", points, Spread(0.3, 1.0, 0.2, 0.8), None)
    assert worst(record, "stops").after is None
    assert "levelled" not in in_words(record, "stops")


def test_slanted_names_keep_clear_of_the_legend() -> None:
    """Thirty clips with long names: no slanted name reaches down to the line of the legend."""
    clips = tuple(point(f"CLIP_{i:010}", Difference(0.1, i, 0.0), None) for i in range(30))
    root = parsed(exposure_svg(Evenness("x", "A1", clips, None, None), "x"))
    slanted = [t for t in root.iter(f"{SVG}text") if t.get("transform")]
    assert 4 <= len(slanted) <= 16
    legend = next(t for t in root.iter(f"{SVG}text") if t.text == "as shot")
    # A letter of the 12-pixel name is at most 7.4 pixels wide; names hang at 38 degrees.
    low = max(float(t.attrib["y"]) + 7.4 * len(t.text or "") * math.sin(0.663) for t in slanted)
    assert low <= float(legend.attrib["y"]) - 11


def test_an_outlier_in_a_crowd_is_named_all_the_same() -> None:
    """Thirty clips crowd round it: its name and what is left stand in a corner, with a line."""
    crowd = tuple(
        point(f"C{i}", Difference(0.1, 3.0 * (i % 5), 0.001 * (i % 4)), Difference(0.0, 0.1 * i, 0))
        for i in range(30)
    )
    out = EvennessPoint("X1", "matched", Difference(0, 4, 0.001), Difference(0.1, 4, 0.001))
    record = Evenness("x", "C0", (*crowd, out), None, Spread(0.1, 4.0, 0.1, 1.0), "X1")
    root = parsed(white_svg(record, "x"))
    said = [t.text for t in root.iter(f"{SVG}text") if "ev-out" in t.get("class", "")]
    assert said == ["X1 +4"]


def test_the_title_says_the_worst_before_and_after() -> None:
    """At a glance: the figures of the record, on each axis."""
    said = [t.text for t in parsed(evenness_svg(shop())).iter(f"{SVG}text")]
    assert "0.80 → 0.10 stop at worst" in said
    assert "20.0 → 2.0 mired at worst" in said


def test_a_mark_that_is_unsure_shows_how_much() -> None:
    """A whisker reaches two standard errors, by the scale of stops; a small error draws none."""
    zero = Difference(0.0, 0.0, 0.0)
    unsure = EvennessPoint("A2", "matched", Difference(-0.8, 1, 0), zero, stops_error=0.2)
    sure = EvennessPoint("A3", "matched", Difference(-0.8, 1, 0), zero, stops_error=0.01)
    points = (point("A1", zero, zero), unsure, sure)
    root = parsed(exposure_svg(Evenness("x", "A1", points, None, None), "x"))
    at = ticks(root, "y")
    slope = abs(np.polyfit(list(at), list(at.values()), 1)[0])
    whiskers = [e for e in root.iter(f"{SVG}line") if e.get("class") == "ev-whisker"]
    tall = [abs(float(e.attrib["y1"]) - float(e.attrib["y2"])) for e in whiskers]
    assert max(tall) == pytest.approx(0.8 * slope, abs=0.3)  # two errors each way
    assert len([t for t in tall if t > 20]) == 1

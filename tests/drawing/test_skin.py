"""The skin panel shows each stage at its angle, and no meaning hangs on colour."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree as ET

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.colourmath.encodings import ENCODINGS
from evenhand.drawing.model import ClipReport, ReportModel
from evenhand.drawing.report import report_html
from evenhand.drawing.skin import seen_skin, skin_svg
from evenhand.grade.document import Grade
from evenhand.measure.skin.check import SkinCheck, check_skin
from evenhand.measure.skin.reading import SkinPlace, SkinReading
from evenhand.wording.saying import sentences

SVG = "{http://www.w3.org/2000/svg}"
GRADE = Grade(ENCODINGS["phone-log-1"])


def check(*angles: float | None, by: str = "face", saturation: float = 14.0) -> SkinCheck:
    """A check whose stages (shot, levelled, by hand, look) lie at these angles."""
    found = [None if a is None else SkinReading(a, saturation, 50.0, 1.0) for a in angles]
    shot, levelled, adjusted, looked = [*found, None, None, None][:4]
    assert shot is not None
    assert levelled is not None
    place = SkinPlace(
        seconds=1.0,
        box=(0.4, 0.2, 0.1, 0.2),
        pixels=300,
        shot=shot,
        levelled=levelled,
        adjusted=adjusted,
        looked=looked,
    )
    other = msgspec.structs.replace(place, seconds=2.0)
    return check_skin("A<1>", by, [place, other], GRADE)  # type: ignore[arg-type]


def centres(svg: str) -> dict[str, tuple[float, float]]:
    """Where the mark of each stage stands, by the first words of its title."""
    found = {}
    for element in ET.fromstring(svg).iter():
        title = element.find(f"{SVG}title")
        if title is None or "ev-mark" not in element.get("class", ""):
            continue
        if "cx" in element.attrib:
            at = float(element.attrib["cx"]), float(element.attrib["cy"])
        elif "width" in element.attrib:
            x, y, w, h = (float(element.attrib[k]) for k in ("x", "y", "width", "height"))
            at = x + w / 2, y + h / 2
        else:
            numbers = [float(n) for n in re.findall(r"-?[\d.]+", element.attrib["d"])]
            at = numbers[0], (numbers[1] + numbers[3]) / 2
        found[(title.text or "").split(":")[0]] = at
    return found


def origin(svg: str) -> tuple[float, float]:
    """Where the skin line begins."""
    (line,) = (e for e in ET.fromstring(svg).iter() if e.get("class") == "sk-line")
    return float(line.attrib["x1"]), float(line.attrib["y1"])


@given(
    st.lists(st.floats(0, 360), min_size=2, max_size=4),
    st.floats(2, 60),
)
def test_marks_stand_at_their_angle_inside_the_panel(angles: list[float], sat: float) -> None:
    """Whatever was measured, up to skin that has become blue: +Cb to the right, +Cr up."""
    svg = skin_svg(check(*angles, saturation=sat), "x")
    wide, high = (float(v) for v in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
    x0, y0 = origin(svg)
    names = ("as shot", "levelled", "by hand", "with look")
    marks = centres(svg)
    assert list(marks)[::-1] == list(names[: len(angles)])
    for name, angle in zip(names, angles, strict=False):
        x, y = marks[name]
        assert 0 < x < wide
        assert 0 < y < high
        found = math.degrees(math.atan2(y0 - y, x - x0))
        radius = math.hypot(y0 - y, x - x0)
        assert (found - angle + 180) % 360 - 180 == pytest.approx(0, abs=math.degrees(0.2 / radius))


def test_every_stage_has_a_shape_of_its_own() -> None:
    """Circle hollow, circle filled, triangle, square: told apart without colour."""
    root = ET.fromstring(skin_svg(check(118, 121, 119, 126), "x"))
    shapes = {
        (e.tag.removeprefix(SVG), e.get("class", "").split()[1])
        for e in root.iter()
        if "ev-mark" in e.get("class", "")
    }
    assert shapes == {
        ("circle", "ev-before"),
        ("circle", "ev-after"),
        ("path", "sk-adjusted"),
        ("rect", "sk-looked"),
    }


def test_the_band_spans_its_two_angles() -> None:
    """100 and 150 degrees in BT.709, as drawn from the origin."""
    svg = skin_svg(check(120, 121), "x")
    (band,) = (e for e in ET.fromstring(svg).iter() if e.get("class") == "ev-band")
    points = np.array([[float(v) for v in p.split(",")] for p in band.attrib["points"].split()])
    rim = points[1:] - points[0]
    angles = np.degrees(np.arctan2(-rim[:, 1], rim[:, 0]))
    assert angles.min() == pytest.approx(100, abs=0.2)
    assert angles.max() == pytest.approx(150, abs=0.2)


def test_the_numbers_and_words_are_there_for_those_who_cannot_see_it() -> None:
    """Figures of each stage as text, the verdict as the picture's description, names escaped."""
    found = check(118, 121, None, 126)
    svg = skin_svg(found, "x")
    said = " ".join(t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text"))
    for figures in ("118°, chroma 14 %, luma 50 %", "121°", "126°", "as shot", "with look"):
        assert figures in said
    assert ET.fromstring(svg).find(f"{SVG}desc").text == sentences(found.why)  # type: ignore[union-attr]
    assert "A<1>" not in svg


def test_skin_without_a_hue_stands_in_the_middle() -> None:
    """A monochrome look: its mark is at the origin and its figure says grey."""
    found = msgspec.structs.replace(check(118, 121), looked=SkinReading(None, 0.2, 50.0))
    svg = skin_svg(found, "x")
    assert centres(svg)["with look"] == pytest.approx(origin(svg), abs=0.2)
    assert "grey, chroma 0 %" in svg


@pytest.mark.parametrize(
    ("by", "words"),
    [("face", "From 2 faces in 2 frames"), ("person", "From 2 places pointed at in 2 frames")],
)
def test_where_it_was_found_is_told(by: str, words: str) -> None:
    """How many and in how many frames: one sighting is less than five."""
    found = check(118, 121, by=by)
    assert seen_skin(found).startswith(words)
    single = msgspec.structs.replace(found, places=found.places[:1])
    assert " in one frame" in seen_skin(single)


def page(**clip: object) -> str:
    report = ClipReport(id="A1", file="A1.mov", **clip)  # type: ignore[arg-type]
    return report_html(ReportModel("S", clips=(report,), notes=("Skin was not checked.",)))


def test_the_page_shows_panel_and_words_or_the_reason() -> None:
    """A check, a reason, or nothing; a warning carries its sign."""
    warned = check(122, 90)
    with_panel, with_note, bare = page(skin=warned), page(skin_note="no face was found"), page()
    assert "Skin of A&lt;1&gt; on the vectorscope" in with_panel
    assert "look at the white of this clip" in with_panel
    assert re.search(r'class="mark warn">.{0,80}Skin lies at 90°', with_panel, re.DOTALL)
    assert "No face was found" in with_note
    assert "Skin, as a check" not in bare
    assert "Skin was not checked." in bare

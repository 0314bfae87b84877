"""The picture of a look's health says what was measured, and nothing that was not."""

from __future__ import annotations

import base64
import re
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import cv2
import numpy as np
import pytest

sys.path.append(str(Path(__file__).parent.parent / "measure"))

import made_looks as made

from evenhand.drawing.lookhealth import health_page, panels, summary, table
from evenhand.grade.looks import LOOKS
from evenhand.jobs.lookcheck import CheckedLook, check_look
from evenhand.measure.looks.probes import SKINS

SVG = "{http://www.w3.org/2000/svg}"


def faulty() -> CheckedLook:
    """A fold of the blues, a dip in the greys, a ripple of tint."""
    fold, dip, wave = made.hue_fold(60.0), made.dip(0.06), made.ripple(0.01)
    return check_look(made.Made("faulty", lambda v: wave(dip(fold(v)))))


GOOD, BAD, GREY = check_look(LOOKS["daybreak"]), faulty(), check_look(LOOKS["soot"])


def drawn(checked: CheckedLook, name: str) -> ET.Element:
    return ET.fromstring(panels(checked.traces)[name])


def words(picture: ET.Element) -> list[str]:
    return ["".join(text.itertext()) for text in picture.iter(f"{SVG}text")]


@pytest.mark.parametrize("checked", [GOOD, BAD, GREY], ids=["good", "faulty", "grey"])
def test_every_panel_is_whole(checked: CheckedLook) -> None:
    """Well-formed, named for people who do not see it, with nothing drawn outside its frame."""
    for name, svg in panels(checked.traces, "x").items():
        picture = ET.fromstring(svg)
        title = picture.find(f"{SVG}title")
        assert title is not None
        assert title.text
        assert picture.get("aria-labelledby") == f"x-{name}" == title.get("id")
        _, _, width, height = map(float, picture.get("viewBox", "").split())
        for circle in picture.iter(f"{SVG}circle"):
            assert 0 < float(circle.get("cx", "nan")) < width
            assert 0 < float(circle.get("cy", "nan")) < height
        assert "nan" not in svg


def test_the_tone_curve_stands_where_the_look_puts_it() -> None:
    """White of the parchment look at 97.5 % is said, and drawn there."""
    checked = check_look(LOOKS["parchment"])
    picture = drawn(checked, "tone")
    marks = [c for c in picture.iter(f"{SVG}circle") if c.get("class") == "lh-mark"]
    bottom, top = 340.0, 44.0
    levels = [(bottom - float(mark.get("cy", "nan"))) / (bottom - top) for mark in marks]
    ends = LOOKS["parchment"].apply(np.array([[0.0] * 3, [1.0] * 3])) @ [0.2126, 0.7152, 0.0722]

    assert levels[0] == pytest.approx(ends[0], abs=1e-3)
    assert levels[2] == pytest.approx(ends[1], abs=1e-3)
    assert any(f"white {100 * ends[1]:.1f}" in line for line in words(picture))
    assert len([p for p in picture.iter(f"{SVG}path") if p.get("class") == "lh-curve"]) == 3


def test_crosses_mark_hues_that_turn_back_and_nothing_else() -> None:
    """On the faulty look only."""

    def crosses(checked: CheckedLook) -> int:
        return len([p for p in drawn(checked, "hue").iter() if p.get("class") == "lh-cross"])

    assert crosses(BAD) > 0
    assert crosses(GOOD) == 0
    assert crosses(GREY) == 0


def test_skins_say_how_far_they_turn() -> None:
    """The greatest of the numbers is the measure's; black and white has none."""
    said = [w.replace("−", "-") for w in words(drawn(GOOD, "skin"))]
    turns = [float(w) for w in said if re.fullmatch(r"[+-]?\d+", w)]

    assert len(turns) == len(SKINS)
    assert max(map(abs, turns)) == round(GOOD.health.strengths[-1].value("skin_turn"))
    assert any("nothing to turn" in w for w in words(drawn(GREY, "skin")))


def test_ramps_are_rounded_to_eight_bits() -> None:
    """The strip holds the look's own colours, a pixel a step; red first."""
    images = list(drawn(GOOD, "ramps").iter(f"{SVG}image"))
    data = images[1].get("href", "").removeprefix("data:image/png;base64,")
    pixels = cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_COLOR)
    greys = np.repeat(np.arange(256)[:, None] / 255, 3, axis=1)

    assert len(images) == 12
    np.testing.assert_array_equal(
        pixels[0, :, ::-1], np.rint(255 * LOOKS["daybreak"].apply(greys)).astype(int)
    )


def test_the_page_says_every_fault_and_what_to_do() -> None:
    """In words; a good look has none."""
    page = health_page(BAD.health, BAD.traces)

    assert len(BAD.health.strengths[-1].faults) >= 3
    for measure in BAD.health.strengths[-1].faults:
        assert measure.words in page
        assert measure.name in page
        assert measure.remedy.partition(";")[0][1:] in page
    assert 'class="lh-faults"' not in health_page(GOOD.health, GOOD.traces)


def test_the_table_has_all_figures_at_all_strengths() -> None:
    """A cell for each, and no row for what was not asked."""
    html = table(GOOD.health)

    for measure in GOOD.health.strengths[-1].measures:
        assert f'<th scope="row">{measure.name} <small>' in html
    assert html.count("<tr>") == len(GOOD.health.strengths[-1].measures) + 8 + 1
    assert "skin turns by" not in table(GREY.health)
    assert "Black and white." in summary(GREY.health)


def test_names_cannot_bring_markup() -> None:
    """A look's name is whatever its file says."""
    checked = check_look(made.Made("<script>alert(1)</script>", made.identity))
    page = health_page(checked.health, checked.traces)

    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_the_page_fetches_nothing() -> None:
    """All pictures are inside it, and it may not ask for any."""
    page = health_page(GOOD.health, GOOD.traces)

    assert "default-src 'none'" in page
    assert not re.search(r'(?:src|href)="(?!data:)', page)

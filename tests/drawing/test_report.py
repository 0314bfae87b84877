"""The report is one page that needs nothing beside itself and shows whatever is known."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import msgspec
import numpy as np
import pytest

from evenhand.drawing.model import (
    ClipReport,
    Evidence,
    Identification,
    MasterCheck,
    MasterFile,
    Picture,
    PlaceReport,
    ReportModel,
    UnreadableFile,
)
from evenhand.drawing.picture import picture_jpeg
from evenhand.drawing.report import report_html
from evenhand.drawing.scopes import scope_set
from evenhand.measure.decisions import Difference, Evenness, EvennessPoint
from evenhand.measure.scopes import measure_scopes

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>.mov"
# HTML elements without an end tag, and SVG shapes that the page writes with a slash.
VOID = {"meta", "img", "input", "br", "link", "hr"}
# WCAG 2.2, 1.4.3: contrast of text at least 4.5 to 1.
TEXT_CONTRAST = 4.5


class Page(HTMLParser):
    """The page as a list of elements with their attributes; fails where tags do not nest."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []
        self._open: list[str] = []
        self.feed(html)
        self.close()
        assert not self._open, f"left open: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {k: v or "" for k, v in attrs}))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {k: v or "" for k, v in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self._open, f"</{tag}> closes nothing"
        assert self._open.pop() == tag, f"</{tag}> is out of place"

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    def all(self, tag: str) -> list[dict[str, str]]:
        return [a for t, a in self.elements if t == tag]

    @property
    def said(self) -> str:
        return " ".join("".join(self.text).split())


def hostile_model(picture: Picture) -> ReportModel:
    """The same bad name wherever a name from a card can come in."""
    zero = Difference(0.0, 0.0, 0.0)
    points = (EvennessPoint(HOSTILE, "reference", zero, zero),)
    clip = ClipReport(
        id=HOSTILE,
        file=HOSTILE,
        codec=HOSTILE,
        identification=Identification(
            HOSTILE, HOSTILE, evidence=(Evidence(HOSTILE, HOSTILE),), conflicts=(HOSTILE,)
        ),
        before=picture,
        after=picture,
        masters=(MasterFile(HOSTILE, HOSTILE, checks=(MasterCheck(HOSTILE, HOSTILE),)),),
        notes=(HOSTILE,),
        warnings=(HOSTILE,),
    )
    evenness = Evenness(HOSTILE, HOSTILE, points, None, None, HOSTILE)
    return ReportModel(
        shoot=HOSTILE,
        card=HOSTILE,
        clips=(clip, msgspec.structs.replace(clip, id="B", before=None)),
        places=(PlaceReport(HOSTILE, (HOSTILE,), HOSTILE, evenness, HOSTILE),),
        unreadable=(UnreadableFile(HOSTILE, HOSTILE, HOSTILE),),
        notes=(HOSTILE,),
        warnings=(HOSTILE,),
    )


@pytest.fixture(params=["full", "hostile", "scanned", "unreadable", "empty"])
def html(
    request: pytest.FixtureRequest,
    full_model: ReportModel,
    tiny_picture: Callable[[], Picture],
) -> str:
    """Pages of shoots in every state."""
    scanned = ReportModel("Card A", clips=(ClipReport("A1", "A1.mov"), ClipReport("A2", "A2.mov")))
    lost = UnreadableFile("B.mov", "the file is empty", "Copy it again.")
    models = {
        "full": full_model,
        "hostile": hostile_model(tiny_picture()),
        "scanned": scanned,
        "unreadable": ReportModel("Card B", unreadable=(lost, lost)),
        "empty": ReportModel(""),
    }
    return report_html(models[request.param])


def test_the_page_needs_nothing_from_elsewhere(html: str) -> None:
    """No address but the namespace of SVG; every picture is inside the page."""
    addresses = re.findall(r"(?:https?:)?//[\w.-]+[^\s\"'<>]*", re.sub(r"base64,[^\"]*", "", html))
    assert set(addresses) <= {"http://www.w3.org/2000/svg"}
    page = Page(html)
    assert all(a["src"].startswith("data:image/") for a in page.all("img"))
    assert not page.all("link")
    assert "url(" not in html
    assert "@import" not in html


def test_ids_are_unique_and_what_points_to_them_finds_them(html: str) -> None:
    """Anchors and labels lead somewhere, and to one place."""
    page = Page(html)
    ids = [a["id"] for _, a in page.elements if "id" in a]
    assert len(ids) == len(set(ids))
    wanted = {a["href"][1:] for a in page.all("a")}
    wanted |= {i for _, a in page.elements for i in a.get("aria-labelledby", "").split()}
    assert wanted <= set(ids)


def test_pictures_and_controls_are_named(html: str) -> None:
    """Every picture has an alternative text, every slider and region a label."""
    page = Page(html)
    assert all(a.get("alt", "").strip() for a in page.all("img"))
    assert all(a.get("aria-label", "").strip() for a in page.all("input"))
    assert all(a.get("aria-label") for _, a in page.elements if a.get("role") == "region")
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_the_only_script_is_our_own_and_the_policy_names_it(html: str) -> None:
    """The policy allows one script by its SHA-256, which is computed here anew."""
    scripts = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    assert len(scripts) == 1
    digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    policy = next(
        a["content"]
        for a in Page(html).all("meta")
        if a.get("http-equiv") == "Content-Security-Policy"
    )
    assert f"script-src 'sha256-{digest}';" in policy
    assert "default-src 'none'" in policy
    handlers = [k for _, a in Page(html).elements for k in a if k.startswith("on")]
    assert handlers == []


def test_hostile_names_are_shown_as_they_are(tiny_picture: Callable[[], Picture]) -> None:
    """Markup in a file name is read as letters, in every place that shows it."""
    page = Page(report_html(hostile_model(tiny_picture())))
    assert page.said.count("alert(1)") >= 15
    assert HOSTILE in page.said
    assert not [a for a in page.all("img") if a["src"] == "x"]
    assert len(page.all("script")) == 1


def test_a_full_report_says_what_was_done(full_model: ReportModel) -> None:
    """Each clip has its pictures, decision, look, compile error, masters and checks."""
    html = report_html(full_model)
    page = Page(html)
    sliders = [a for a in page.all("input") if a["type"] == "range"]
    assert len(sliders) == 12
    assert [a["id"] for a in page.all("article")] == [f"clip-{n}" for n in range(1, 13)]
    said = page.said.replace("\u00a0", " ")
    for words in (
        "1 of 24 masters failed a check",
        "6 matched to 4 references, 2 unchanged",
        "white was 5250 K, Duv −0.0020",
        "Proposal, not applied",
        "Hearth, 70 %",
        "CIEDE2000 within 0.18, at most 0.74; lattice 65³; within the bound",
        "−23.0 ± 0.5 LUFS",
        "A013.mov",
        "Score against the truth",
    ):
        assert words in said, words


def test_each_place_has_its_chart_with_the_marks_of_its_record(full_model: ReportModel) -> None:
    """Two panels a place; hollow and filled marks as many as its clips were measured."""
    html = report_html(full_model)
    panels = re.findall(r'<svg[^>]*class="evenness".*?</svg>', html, re.DOTALL)
    assert len(panels) == 2 * len(full_model.places)
    for number, place in enumerate(full_model.places):
        assert place.evenness is not None
        before = sum(p.before is not None for p in place.evenness.clips)
        after = sum(p.after is not None for p in place.evenness.clips)
        for panel in panels[2 * number : 2 * number + 2]:
            assert panel.count("ev-mark ev-before") == before
            assert panel.count("ev-mark ev-after") == after


def test_a_clip_without_a_place_is_shown_too() -> None:
    """Nothing that was found is left out, even where a place names an unknown clip."""
    places = (PlaceReport("Yard", ("A1", "GONE")),)
    clips = (ClipReport("A1", "A1.mov"), ClipReport("A2", "A2.mov"))
    said = Page(report_html(ReportModel("x", clips=clips, places=places))).said
    assert "Clips in no place" in said
    assert "A2.mov" in said


def test_only_unreadable_files_are_listed_with_what_to_do() -> None:
    """A card of which nothing can be read still makes a page that helps."""
    lost = UnreadableFile("B.mov", "the file ends before its index", "Copy it again.")
    said = Page(report_html(ReportModel("x", unreadable=(lost,)))).said
    assert "No file on the card could be read as a clip." in said
    assert "the file ends before its index" in said
    assert "Copy it again." in said


def test_the_page_survives_json(full_model: ReportModel) -> None:
    """The model is plain data: written and read again it makes the same page."""
    again = msgspec.json.decode(msgspec.json.encode(full_model), type=ReportModel)
    assert report_html(again) == report_html(full_model)


def test_a_report_of_twelve_clips_stays_below_eight_megabytes() -> None:
    """Twelve times what one clip adds to the page: a real photograph with grain, every scope."""
    photograph = Path(__file__).parents[2] / "../shared/photos/still_life.npz"
    if not photograph.exists():
        pytest.skip("no photographs beside the repository")
    light = np.load(photograph)["linear_bt709"].astype(np.float32)
    grain = np.random.default_rng(7).normal(0, 0.006, light.shape)
    signal = np.clip(np.clip(2 * light, 0, 1) ** (1 / 2.4) + grain, 0, 1).astype(np.float32)
    scopes = scope_set(measure_scopes(signal), with_parade=True)
    picture = picture_jpeg(signal)
    clip = ClipReport(
        "A1", "A1", before=picture, after=picture, scopes_before=scopes, scopes_after=scopes
    )
    empty = len(report_html(ReportModel("x", clips=(ClipReport("A1", "A1"),))))
    one = len(report_html(ReportModel("x", clips=(clip,))))
    assert empty + 12 * (one - empty) < 8_000_000


@pytest.mark.parametrize("pair", [("ink", "ground"), ("quiet", "ground"), ("bad", "ground")])
@pytest.mark.parametrize("place", [0, 1])
def test_text_has_enough_contrast_on_screen_and_paper(pair: tuple[str, str], place: int) -> None:
    """The colours of the sheet by the luminance formula of WCAG 2.2."""
    html = report_html(ReportModel("x"))
    sheets = re.findall(r":root\{(.*?)\}", html, re.DOTALL)
    colours = dict(re.findall(r"--(\w+):(#[0-9a-f]{3,6})", sheets[place]))
    light, dark = sorted((luminance(colours[name]) for name in pair), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= TEXT_CONTRAST


def luminance(colour: str) -> float:
    """Relative luminance of a hexadecimal sRGB colour (WCAG 2.2)."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    signal = np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255
    light = np.where(signal <= 0.04045, signal / 12.92, ((signal + 0.055) / 1.055) ** 2.4)
    return float(light @ (0.2126, 0.7152, 0.0722))

"""Sheets and walls as pages: whole in themselves, escaped, and the same bytes each time."""

from __future__ import annotations

import sys
from html.parser import HTMLParser
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.append(str(Path(__file__).parent))

from sheet_models import sheet, wall

from evenhand.drawing.lettering import clipped, width, wrapped
from evenhand.drawing.looksheet import headline, in_lines, sheet_html
from evenhand.drawing.lookwall import wall_html
from evenhand.drawing.sheetpages import A4, Box, Placed, sheet_pages, wall_page
from evenhand.drawing.sheetpicture import page_png


class Read(HTMLParser):
    """The pictures, links and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.images: list[dict[str, str | None]] = []
        self.links: list[str] = []
        self.idents: list[str] = []
        self.tags: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append(tag)
        if tag == "img":
            self.images.append(found)
        if tag == "a":
            self.links.append(found["href"] or "")
        if "id" in found:
            self.idents.append(found["id"] or "")

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("page", [sheet_html(sheet()), wall_html(wall())], ids=["sheet", "wall"])
def test_a_page_needs_nothing_beside_itself(page: str) -> None:
    """Pictures are inside, each with words; nothing is fetched, nothing runs."""
    read = Read(page)

    assert all((image["src"] or "").startswith("data:image/") for image in read.images)
    assert all(image["alt"] for image in read.images)
    assert "script" not in read.tags
    assert "default-src 'none'" in page
    assert "http" not in page.replace("http-equiv", "")
    assert all(link[1:] in read.idents for link in read.links if link.startswith("#"))
    assert len(read.idents) == len(set(read.idents))


def test_a_sheet_shows_each_look_at_each_strength() -> None:
    """Three pictures without a look, then three a strength and look; verdicts in words."""
    read = Read(sheet_html(sheet()))

    assert len(read.images) == 3 + 3 * 2 * 3
    assert read.text.count("fails: steepest tone 4.00 ×") == 1
    assert read.text.count("passes") >= 5
    assert headline(sheet()) == "At 50 % and 100 %: 2 of 3 pass every test, 1 fails one."


def test_a_wall_gives_the_line_to_run_and_marks_what_fails() -> None:
    """The fault is told under its look alone."""
    read = Read(wall_html(wall()))

    assert len(read.images) == 4
    assert "evenhand look use crumb-2 A001 --strength 70%" in read.text
    assert read.text.count("fails: steepest tone") == 1


def test_what_comes_from_outside_is_escaped() -> None:
    """Names of clips and looks cannot become markup."""
    bad = '"><script>x</script>'

    for page in (sheet_html(sheet(title=bad, name=bad)), wall_html(wall(clip=bad))):
        assert "<script" not in page
        assert "&lt;script&gt;" in page


def test_pages_are_the_same_bytes_each_time() -> None:
    """As HTML and as pictures."""
    assert sheet_html(sheet()) == sheet_html(sheet())
    assert wall_html(wall()) == wall_html(wall())
    for make in (lambda: sheet_pages(sheet(1), whole=True)[0], lambda: wall_page(wall())):
        assert page_png(make()) == page_png(make())


@pytest.mark.parametrize("count", [1, 3, 11])
def test_nothing_stands_outside_its_page(count: int) -> None:
    """On A4 and in one piece; every look at every strength is there once, in order."""
    for pages in (sheet_pages(sheet(count)), sheet_pages(sheet(count), whole=True)):
        for page in pages:
            for item in page.items:
                if isinstance(item, Box | Placed):
                    assert item.x >= 0
                    assert item.x + item.width <= page.width
                    assert item.y + item.height <= page.height
                else:
                    assert 0 < item.y < page.height
                    assert item.x + width(item.text, item.size, item.bold) <= page.width
        titles = [i.text for p in pages for i in p.items if getattr(i, "text", "")[:5] == "Crumb"]
        assert titles == [f"Crumb {k}" for k in range(count) for _ in range(2)]
    assert (page.width, len(pages)) != (A4[0], 0)


def test_each_page_begins_without_a_look() -> None:
    """So that pages can be laid beside each other."""
    pages = sheet_pages(sheet(11))

    assert len(pages) > 2
    for page in pages:
        words = [item.text for item in page.items if hasattr(item, "text")]
        assert "Without a look" in words[:3]


def test_a_page_as_a_picture_holds_its_pictures() -> None:
    """The first scene's colours stand where they were laid."""
    page = sheet_pages(sheet(), whole=True)[0]
    pixels = cv2.imdecode(np.frombuffer(page_png(page), np.uint8), cv2.IMREAD_COLOR_RGB)
    placed = next(item for item in page.items if isinstance(item, Placed))
    source = cv2.imdecode(np.frombuffer(placed.picture.data, np.uint8), cv2.IMREAD_COLOR_RGB)
    middle = int(2 * (placed.y + placed.height / 2)), int(2 * (placed.x + placed.width / 2))

    assert pixels.shape[:2] == (round(2 * page.height), round(2 * page.width))
    assert np.abs(pixels[middle].astype(int) - source[13, 24].astype(int)).max() <= 6


def test_upright_clips_are_not_cut() -> None:
    """Pictures keep their shape on a wall."""
    for size in ((27, 48), (48, 27)):
        for item in wall_page(wall(size=size)).items:
            if isinstance(item, Placed):
                assert item.width / item.height == pytest.approx(size[1] / size[0], rel=1e-6)


@pytest.mark.parametrize(
    ("count", "lines", "across"), [(1, 1, 1), (4, 1, 4), (6, 1, 6), (7, 2, 4), (13, 3, 5)]
)
def test_lines_of_pictures_are_about_as_long(count: int, lines: int, across: int) -> None:
    """And hold all of them."""
    assert in_lines(count) == (lines, across)
    assert lines * across >= count


def test_words_are_broken_and_cut_to_their_room() -> None:
    """Helvetica: digits are 0.556 wide, of the standard fonts' published metrics."""
    assert width("0000", 10) == pytest.approx(22.24)
    lines = wrapped("one two three four five six", 60, 10)
    assert " ".join(lines) == "one two three four five six"
    assert all(width(line, 10) <= 60 for line in lines)
    assert clipped("short", 100, 10) == "short"
    assert clipped("a long line of words", 50, 10).endswith("…")
    assert width(clipped("a long line of words", 50, 10), 10) <= 50

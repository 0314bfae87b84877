"""PDF files: sound by their own tables, and read by a reader that is not ours."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.append(str(Path(__file__).parent))

from sheet_models import picture, sheet

from evenhand.drawing.pdf import pdf_bytes
from evenhand.drawing.sheetpages import A4, Box, Page, Placed, Words, sheet_pages


def one_page() -> Page:
    """A box, a picture on it, and three lines of words."""
    page = Page(260.0, 100.0)
    page.items = [
        Box(0, 0, 100, 100, "mat"),
        Placed(10, 20, 48, 27, picture(1), "a ramp"),
        Words(110, 30, r"back\slash (brackets)", 10),
        Words(110, 50, "naïve – 70 %", 10, bold=True),
        Words(110, 70, "λόγος", 10),
    ]
    return page


def objects(data: bytes) -> dict[int, bytes]:
    """What the table of a file points at, by number (ISO 32000-1, 7.5.4)."""
    table = int(re.findall(rb"startxref\n(\d+)\n%%EOF\n\Z", data)[0])
    assert data[table : table + 5] == b"xref\n"
    count = int(data[table:].split(b"\n", 2)[1].split()[1])
    rows = data[table:].split(b"\n")[2 : 2 + count]
    found = {}
    for number, row in enumerate(rows):
        assert len(row) == 19  # with its line end 20, as the standard asks
        if number:
            start = int(row[:10])
            head = b"%d 0 obj\n" % number
            assert data[start : start + len(head)] == head
            found[number] = data[start + len(head) : data.index(b"\nendobj", start)]
    return found


def test_the_table_of_a_file_points_at_its_objects() -> None:
    """And streams are as long as they say."""
    found = objects(pdf_bytes(sheet_pages(sheet(11)), "Looks"))

    assert sum(b"/Type /Page " in body for body in found.values()) == len(sheet_pages(sheet(11)))
    for body in found.values():
        if b"stream\n" in body:
            head, rest = body.split(b"stream\n", 1)
            length = int(re.findall(rb"/Length (\d+)", head)[0])
            assert rest[length:] == b"\nendstream"
            if b"/FlateDecode" in head:
                zlib.decompress(rest[:length])


def test_the_same_pages_give_the_same_bytes() -> None:
    """Nothing in a file says when or where it was made; other pages give another identity."""
    first, again = (pdf_bytes(sheet_pages(sheet()), "Looks") for _ in range(2))

    assert first == again
    assert b"/CreationDate" not in first
    assert b"/ID" in first
    assert pdf_bytes([one_page()], "Looks")[-200:] != first[-200:]


def test_words_without_standard_letters_keep_their_text() -> None:
    """They are drawn, and stand beside the drawing in UTF-16 (ISO 32000-1, 14.9.4)."""
    page = Page(260.0, 100.0, [Words(10, 50, "λόγος", 10)])
    bodies = objects(pdf_bytes([page], "Looks")).values()
    streams = [body.split(b"stream\n", 1)[1] for body in bodies if b"stream\n" in body]
    unpacked = b"".join(zlib.decompress(stream[: -len(b"\nendstream")]) for stream in streams)

    assert "λόγος".encode("utf-16-be").hex().encode() in unpacked


def test_a_picture_is_kept_once_and_as_it_is() -> None:
    """The pictures without a look stand on every page but only once in the file."""
    model = sheet(11)
    data = pdf_bytes(sheet_pages(model), "Looks")

    assert len(sheet_pages(model)) > 2
    for column in model.scenes:
        assert data.count(column.before.data) == 1


@pytest.fixture
def reader() -> str:
    """Poppler's text reader, where it is installed."""
    found = shutil.which("pdftotext")
    if found is None:
        pytest.skip("no reader of PDF is installed (poppler-utils)")
    return str(Path(found).parent)


@pytest.mark.oracle
def test_poppler_reads_the_words_and_no_fault(reader: str, tmp_path: Path) -> None:
    """Words, brackets and accents come back, and the title in any letters."""
    file = tmp_path / "one.pdf"
    file.write_bytes(pdf_bytes([one_page(), one_page()], "Looks (λ)"))
    said = subprocess.run(
        [f"{reader}/pdftotext", "-layout", file, "-"], capture_output=True, check=True
    )
    facts = subprocess.run([f"{reader}/pdfinfo", file], capture_output=True, check=True)

    text = said.stdout.decode()
    assert r"back\slash (brackets)" in text
    assert "naïve – 70 %" in text
    assert said.stderr == facts.stderr == b""
    assert re.search(r"Pages:\s+2\n", facts.stdout.decode())
    assert re.search(r"Title:\s+Looks \(λ\)\n", facts.stdout.decode())


@pytest.mark.oracle
def test_poppler_draws_what_was_laid(reader: str, tmp_path: Path) -> None:
    """Box and picture have their colours at their places; the rest is white paper."""
    file = tmp_path / "one.pdf"
    file.write_bytes(pdf_bytes([one_page()], "Looks"))
    draw = [f"{reader}/pdftoppm", "-r", "72", "-png", "-singlefile", file, tmp_path / "one"]
    said = subprocess.run(draw, capture_output=True, check=True)
    pixels = cv2.imread(str(tmp_path / "one.png"))[..., ::-1].astype(int)
    source = cv2.imdecode(np.frombuffer(picture(1).data, np.uint8), cv2.IMREAD_COLOR_RGB)

    assert said.stderr == b""
    assert pixels.shape == (100, 260, 3)
    assert np.abs(pixels[90, 50] - 89).max() <= 1
    assert (pixels[10, 250] == 255).all()
    assert np.abs(pixels[33, 34] - source[13, 24].astype(int)).max() <= 6
    assert (pixels[60:72, 110:150] < 128).any()


def test_sheets_are_a4() -> None:
    """ISO 216 in points: 210 mm by 297 mm."""
    assert pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=0.01) == A4
    assert b"/MediaBox [0 0 595.28 841.89]" in pdf_bytes(sheet_pages(sheet()), "Looks")

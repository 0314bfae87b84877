"""Which kind a file is: by its first bytes, in one line that says what was found."""

from __future__ import annotations

import contextlib
import time
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.luts.errors import LookFileError
from evenhand.luts.kinds import HEAD_BYTES, kind_of

CUBE = b"LUT_3D_SIZE 2\n" + b"0 0 0\n" * 8


@pytest.mark.parametrize(
    ("name", "data", "kind"),
    [
        ("a.cube", CUBE, "cube"),
        ("a.CUBE", b"# x\r" + CUBE.replace(b"\n", b"\r"), "cube"),
        ("a", CUBE, "cube"),
        ("a.txt", CUBE.lower(), "cube"),
        ("a.cube", CUBE.decode().encode("utf-16"), "cube"),
        ("a.clf", b'<?xml version="1.0"?>\n<!-- x -->\n<ProcessList>', "clf"),
        ("a.xml", "<clf:ProcessList>".encode("utf-16"), "clf"),
        ("a.cc", b"\xef\xbb\xbf <ColorCorrection>", "cc"),
        ("a.ccc", b"<ColorCorrectionCollection >", "ccc"),
        ("a.cdl", b"<ColorDecisionList>", "cdl"),
    ],
)
def test_looks_are_known_by_their_content(name, data, kind):
    """Whatever they are called."""
    assert kind_of(data, len(data), name) == kind


@pytest.mark.parametrize(
    ("name", "data", "what"),
    [
        ("a.cube", b"", "it is empty"),
        ("a.cube", b"\x89PNG\r\n\x1a\n" + bytes(90), "a PNG picture"),
        ("a.clf", b"\xff\xd8\xff\xe0" + bytes(90), "a JPEG picture"),
        ("a.cube", b"PK\x03\x04" + bytes(90), "a zip archive"),
        ("a.icc", bytes(36) + b"acsp" + bytes(88), "an ICC profile"),
        ("a.mov", b"\0\0\0\x14ftypqt  ", "a film or picture file"),
        ("a.3dl", b"0 64 128 192 1023\n0 0 0\n0 0 12\n", r"a \.3dl table"),
        ("a.3dl", b"3DMESH\nMesh 4 12\n", r"a \.3dl table"),
        ("a.csp", b"CSPLUTV100\n3D\n", r"a \.csp table"),
        ("a.spi1d", b"Version 1\nFrom 0.0 1.0\nLength 2\n", r"a \.spi1d table"),
        ("a.spi3d", b"SPILUT 1.0\n3 3\n", r"a \.spi3d table"),
        ("a.lut", b"LUT: 3 256\n0\n1\n", r"a \.lut table"),
        ("a.vf", b"#Inventor V2.1 ascii\n", r"a \.vf table"),
        ("a.json", b' {"a": 1}', "a JSON document"),
        ("a.txt", b"Dear reader,\nthis is no table.\n", "a text without the words"),
        ("a.bin", bytes(range(256)) * 4, "binary data"),
        ("a.cube", bytes(range(256)) * 4, "binary data"),
        ("a.clf", b"<svg/>", "XML of the kind <svg>"),
        ("a.clf", b"<>", r"XML of the kind <\?>"),
        ("a.clf", b'<?xml version="1.0"?><!DOCTYPE a>', "a document type"),
        ("a.cube", b"0 0 0\n1 1 1\n", "no LUT_1D_SIZE and no LUT_3D_SIZE"),
        ("a.cube", b"LUT_3D_SIZE 900\n0 0 0\n", "line 1: LUT_3D_SIZE is '900'"),
    ],
)
def test_everything_else_is_named(name, data, what):
    """One line: the file, what it is, and to convert it."""
    with pytest.raises(LookFileError, match=what) as caught:
        kind_of(data, len(data), name)

    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(f"{name}: ")


def test_a_huge_file_costs_no_more_than_its_head():
    """A terabyte of any kind is judged by 64 KiB; memory stays below a few of them."""
    heads = [
        b"LUT_3D_SIZE 8\n" + b"0.25 0.5 0.75\n" * 5000,
        b"#\n" * HEAD_BYTES,
        b"\n" * HEAD_BYTES,
        b"<ProcessList>" + b"<a>" * HEAD_BYTES,
        b"<!--" * HEAD_BYTES,
        b"<?xml ?>" * HEAD_BYTES,
        bytes(HEAD_BYTES),
        "LUT_3D_SIZE 8\n".encode("utf-16") + b"0\0 \0" * HEAD_BYTES,
    ]
    tracemalloc.start()
    start = time.perf_counter()
    for head in heads:
        with pytest.raises(LookFileError):
            kind_of(head[:HEAD_BYTES], 1 << 40, "a.cube")
    seconds, (_, peak) = time.perf_counter() - start, tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert seconds < 10.0  # a hang, not a timing: the bench has those
    assert peak < 8 << 20


@settings(deadline=None)
@given(st.binary(max_size=600), st.sampled_from(["a.cube", "a.clf", "a", "a.3dl"]))
def test_any_bytes_get_a_kind_or_a_reason(data, name):
    """Never another error."""
    with contextlib.suppress(LookFileError):
        assert kind_of(data, len(data), name) in {"cube", "clf", "cc", "ccc", "cdl"}

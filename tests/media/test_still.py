"""Stills keep their codes, and every reader is told what the codes mean."""

from __future__ import annotations

import hashlib
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import PyOpenColorIO as ocio
import pytest

from evenhand.errors import TargetError, UsageError
from evenhand.media.icc import display_profile
from evenhand.media.still import codes, png_bytes, still_profile, tiff_bytes
from evenhand.media.still import write_still as write

SIGNAL = np.random.default_rng(2).random((31, 53, 3))


def png_chunks(data: bytes) -> dict[bytes, bytes]:
    """The chunks of a PNG by name, their CRCs checked (W3C PNG, third edition, clause 5.3)."""
    assert data[:8] == bytes([137, 80, 78, 71, 13, 10, 26, 10])
    found: dict[bytes, bytes] = {}
    at = 8
    while at < len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        check = int.from_bytes(data[at + 8 + length : at + 12 + length], "big")

        assert check == zlib.crc32(kind + body)
        found[kind] = found.get(kind, b"") + body
        at += 12 + length
    return found


def tiff_fields(data: bytes) -> dict[int, tuple[int, int, bytes]]:
    """The fields of the first directory of a little-endian TIFF: tag → type, count, value bytes."""
    assert data[:4] == b"II*\0"
    at = int.from_bytes(data[4:8], "little")
    count = int.from_bytes(data[at : at + 2], "little")
    sizes = {2: 1, 3: 2, 4: 4, 5: 8, 7: 1}
    fields = {}
    for entry in range(at + 2, at + 2 + 12 * count, 12):
        tag, kind, number = struct.unpack_from("<2HI", data, entry)
        size = sizes[kind] * number
        place = entry + 8 if size <= 4 else int.from_bytes(data[entry + 8 : entry + 12], "little")
        fields[tag] = (kind, number, data[place : place + size])
    assert list(fields) == sorted(fields)
    return fields


@pytest.mark.parametrize("maker", [png_bytes, tiff_bytes])
@pytest.mark.parametrize("size", [(31, 53), (1, 1), (7, 2)])
def test_codes_come_back_from_another_reader(maker: object, size: tuple[int, int]) -> None:
    """OpenCV's libpng and libtiff read what was written: 16 bits, exactly, red first."""
    signal = np.random.default_rng(5).random((*size, 3))
    data = maker(signal)  # type: ignore[operator]
    found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)

    assert found.dtype == np.uint16
    assert np.array_equal(found[..., ::-1], np.floor(signal * 65535 + 0.5))


def test_what_is_outside_is_clipped_and_halves_go_up() -> None:
    """The rounding of the standards, not the computer's."""
    signal = np.array([[[-0.1, 0.5 / 65535, 1.5]]])

    assert codes(signal, 16).tolist() == [[[0, 1, 65535]]]
    assert codes(np.array([0.5 / 255, 1.49 / 255]), 8).tolist() == [1, 1]


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("encoding", "points"), [("bt709", [1, 1]), ("hlg", [9, 18]), ("pq", [9, 16])]
)
def test_a_png_carries_its_code_points(encoding: str, points: list[int]) -> None:
    """cICP: primaries and transfer of H.273, matrix 0 (RGB), full range; before the pixels."""
    data = png_bytes(SIGNAL, encoding)  # type: ignore[arg-type]

    assert list(png_chunks(data)[b"cICP"]) == [*points, 0, 1]
    assert data.index(b"cICP") < data.index(b"IDAT")


@pytest.mark.oracle
def test_a_png_for_bt709_tells_older_readers_too() -> None:
    """gAMA is 100000/2.4; cHRM is BT.709-6 item 1.3; iCCP is the profile, whole."""
    chunks = png_chunks(png_bytes(SIGNAL))
    title, packed = chunks[b"iCCP"].split(b"\0\0", 1)

    assert chunks[b"gAMA"] == (41667).to_bytes(4, "big")
    assert struct.unpack(">8I", chunks[b"cHRM"]) == (
        31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000,
    )  # fmt: skip
    assert title == b"BT.709 BT.1886"
    assert zlib.decompress(packed) == still_profile()


@pytest.mark.parametrize("encoding", ["hlg", "pq"])
def test_no_profile_pretends_to_know_hdr(encoding: str) -> None:
    """A matrix profile cannot say HLG or PQ."""
    assert not {b"iCCP", b"gAMA"} & set(png_chunks(png_bytes(SIGNAL, encoding)))  # type: ignore[arg-type]
    assert 34675 not in tiff_fields(tiff_bytes(SIGNAL, encoding))  # type: ignore[arg-type]


@pytest.mark.oracle
def test_a_tiff_has_the_fields_that_baseline_readers_need() -> None:
    """TIFF 6.0, section 6 (RGB full colour), and the ICC field of ICC.1:2022 annex B.4."""
    data = tiff_bytes(SIGNAL)
    fields = tiff_fields(data)
    required = {256, 257, 258, 259, 262, 273, 277, 278, 279, 282, 283, 296}

    assert required <= set(fields)
    assert fields[258][2] == struct.pack("<3H", 16, 16, 16)
    assert fields[34675][2] == still_profile()
    offset, count = (int.from_bytes(fields[tag][2], "little") for tag in (273, 279))
    assert count == 31 * 53 * 6
    assert offset + count <= len(data)


def profile_tags(profile: bytes) -> dict[bytes, bytes]:
    """The tags of an ICC profile (ICC.1:2022 clause 7.3)."""
    count = int.from_bytes(profile[128:132], "big")
    tags = {}
    for at in range(132, 132 + 12 * count, 12):
        name, offset, size = struct.unpack_from(">4s2I", profile, at)
        assert offset % 4 == 0
        assert offset + size <= len(profile)
        tags[name] = profile[offset : offset + size]
    return tags


def test_the_profile_is_built_as_the_specification_says() -> None:
    """ICC.1:2022 table 17 for the header, clause 8.3.3 for the tags a display profile must have."""
    profile = still_profile()

    assert int.from_bytes(profile[:4], "big") == len(profile)
    assert len(profile) % 4 == 0
    assert profile[12:24] == b"mntrRGB XYZ "
    assert profile[36:40] == b"acsp"
    assert struct.unpack(">3i", profile[68:80]) == (63190, 65536, 54061)  # F6D6h, 10000h, D32Dh
    tags = profile_tags(profile)
    required = {b"desc", b"cprt", b"wtpt", b"chad"}
    required |= {colour + kind for colour in (b"r", b"g", b"b") for kind in (b"XYZ", b"TRC")}
    assert set(tags) == required
    assert struct.unpack(">3i", tags[b"wtpt"][8:]) == (63190, 65536, 54061)


def test_the_profile_bears_its_own_md5() -> None:
    """ICC.1:2022 clause 7.2.18: flags, intent and identity count as zero."""
    profile = bytearray(still_profile())
    identity = bytes(profile[84:100])
    for part in (slice(44, 48), slice(64, 68), slice(84, 100)):
        profile[part] = bytes(part.stop - part.start)

    assert identity == hashlib.md5(profile).digest()


def through_profile(profile: bytes, folder: Path, rgb: list[float]) -> npt.NDArray[np.float64]:
    """Device values to XYZ under D65, by OpenColorIO's own reader of ICC profiles."""
    path = folder / "display.icc"
    path.write_bytes(profile)
    config = ocio.Config.CreateRaw()
    transform = ocio.FileTransform(src=str(path), direction=ocio.TRANSFORM_DIR_INVERSE)
    return np.array(config.getProcessor(transform).getDefaultCPUProcessor().applyRGB(rgb))


@pytest.mark.oracle
def test_another_reader_takes_the_profile_for_bt709_at_gamma_24(tmp_path: Path) -> None:
    """OpenColorIO reads it; the columns are the BT.709 matrix (RP 177), the curve is V^2.4."""
    matrix = np.array([[0.4123908, 0.3575843, 0.1804808],
                       [0.2126390, 0.7151687, 0.0721923],
                       [0.0193308, 0.1191948, 0.9505322]])  # fmt: skip
    profile = still_profile()
    found = np.stack([through_profile(profile, tmp_path, row) for row in np.eye(3).tolist()])
    half = through_profile(profile, tmp_path, [0.5, 0.5, 0.5])

    assert np.allclose(found.T, matrix, rtol=0, atol=1e-4)
    assert half[1] == pytest.approx(0.5**2.4, abs=1e-4)


def test_the_same_profile_is_the_same_bytes() -> None:
    """No clock goes into it."""
    assert display_profile("bt709", 2.4, "a") == display_profile("bt709", 2.4, "a")


@pytest.mark.parametrize("suffix", [".png", ".tif", ".TIFF"])
def test_a_still_is_written_whole(tmp_path: Path, suffix: str) -> None:
    """Under its name, and nothing beside it."""
    target = tmp_path / f"still{suffix}"
    write(target, SIGNAL)

    assert cv2.imread(str(target), cv2.IMREAD_UNCHANGED).shape == (31, 53, 3)
    assert list(tmp_path.iterdir()) == [target]


def test_an_existing_still_is_left_alone_unless_told(tmp_path: Path) -> None:
    """As with masters."""
    target = tmp_path / "still.png"
    target.write_bytes(b"mine")

    with pytest.raises(TargetError, match="there already"):
        write(target, SIGNAL)
    assert target.read_bytes() == b"mine"

    write(target, SIGNAL, overwrite=True)
    assert target.read_bytes() == png_bytes(SIGNAL)


def test_another_suffix_is_wrong_usage(tmp_path: Path) -> None:
    """The two that are written are named."""
    with pytest.raises(UsageError, match=r"\.png or \.tif"):
        write(tmp_path / "still.bmp", SIGNAL)

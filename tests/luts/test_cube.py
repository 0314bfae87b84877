"""Reading and writing .cube tables: the grammar, its refusals, and a second reader."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO as ocio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from evenhand.luts.cube import HEAD_BYTES, CubeError, CubeFile, check_head, read, write
from evenhand.luts.tables import Table1D, Table3D

ROWS = ["0 0 0", "1 0 0", "0 1 0", "1 1 0", "0 0 1", "1 0 1", "0 1 1", "1 1 1"]
TABLE = "\n".join(ROWS) + "\n"
IDENTITY = np.array([[float(n) for n in row.split()] for row in ROWS]).reshape(2, 2, 2, 3)


# The grammar of the .cube specification (version 1.0), and what files in the wild add to it.
@pytest.mark.parametrize(
    "data",
    [
        f"LUT_3D_SIZE 2\n{TABLE}".encode(),
        f"lut_3d_size 2\r\n{TABLE}".replace("\n", "\r\n").encode(),
        f"LUT_3D_SIZE 2\n{TABLE}".replace("\n", "\r").encode(),
        b"\xef\xbb\xbf" + f"LUT_3D_SIZE 2\n{TABLE}".encode(),
        f"LUT_3D_SIZE 2\n{TABLE}".encode("utf-16"),
        f'TITLE "a # b"\n# made by hand\nLUT_3D_SIZE\t2  # nodes\n\n{TABLE}'.encode(),
        f"DOMAIN_MAX 1 1 1\nDOMAIN_MIN 0 0 0\nLUT_3D_SIZE 2\n{TABLE}".encode(),
        f"LUT_3D_INPUT_RANGE 0 1\nLUT_3D_SIZE 2\n{TABLE}".encode(),
        ("LUT_3D_SIZE 2\n" + "\n# row\n\n".join(ROWS)).encode(),
        f"LUT_3D_SIZE 2\n{TABLE}".replace("1", "+.1E+1").encode(),
        f"LUT_3D_SIZE 2\n{TABLE}".encode("utf-16-be").join([b"\xfe\xff", b""]),
        f"LUT_3D_SIZE 2\n{TABLE}".replace("0 0 0", "  0\t-0. 0e5#first").encode(),
        f"LUT_3D_SIZE 2\n{TABLE}".replace("1 0 0", "1\n0\n0").encode(),
    ],
)
def test_good_variants_are_read(data):
    """Line ends, marks, case, order, comments and number forms do not change the table."""
    np.testing.assert_array_equal(read(data).three.values, IDENTITY)


BAD = [
    (b"", "holds no table"),
    (b"LUT_3D_SIZE 2\n", "holds no table"),
    (TABLE.encode(), "no LUT_1D_SIZE and no LUT_3D_SIZE"),
    (f"LUT_3D_SIZE 2.0\n{TABLE}".encode(), "line 1: LUT_3D_SIZE is '2.0', not a whole number"),
    (f"\n\nLUT_3D_SIZE 1\n{TABLE}".encode(), "line 3: .* whole number 2 to 256"),
    (f"LUT_3D_SIZE 257\n{TABLE}".encode(), "whole number"),
    (f"LUT_3D_SIZE -2\n{TABLE}".encode(), "whole number"),
    (f"LUT_3D_SIZE\n{TABLE}".encode(), "LUT_3D_SIZE is ''"),
    (f"LUT_3D_SIZE 99999999999999999999\n{TABLE}".encode(), "whole number"),
    (f"LUT_1D_SIZE 65537\n{TABLE}".encode(), "whole number 2 to 65536"),
    (f"LUT_3D_SIZE 200\n{TABLE}".encode(), "declares 8000000 rows and has 48 bytes"),
    (f"LUT_3D_SIZE 2\n{TABLE}".encode() + b" " * (2 << 20), "far too many"),
    (f"LUT_3D_SIZE 2\nLUT_3D_SIZE 2\n{TABLE}".encode(), "line 2: LUT_3D_SIZE a second time"),
    (f"LUT_3D_SIZE 2\nGAMMA 2.2\n{TABLE}".encode(), "line 2: the unknown word 'GAMMA'"),
    (f"LUT_3D_SIZE 2\n{TABLE}0 0 0\n".encode(), "line 10: .* rows and has more: '0'"),
    (f"LUT_3D_SIZE 2\n{TABLE[:-6]}".encode(), "8 rows"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1.0000 1").encode(), "8 rows and has 7.66"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 nan").encode(), "line 9: 'nan'"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 inf").encode(), "'inf'"),
    (f"LUT_3D_SIZE 2\r\n{TABLE}".replace("0 1 0", "0 1 0,5").encode(), "line 4: '0,5'"),
    (f"LUT_3D_SIZE 2\r{TABLE}".replace("0 1 0", "0 1_0 0").encode(), "line 4: '1_0'"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("0 1 0", "0 0x1 0").encode(), "'0x1'"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 1e9").encode(), "beyond .65504"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 1e999").encode(), "beyond .65504"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 1e0001").encode(), "no number"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 e").encode(), "'e' in the table is no"),
    (f"LUT_3D_SIZE 2\n{TABLE}TITLE late\n".encode(), "line 10: .* has more: 'TITLE'"),
    (f"LUT_3D_SIZE 2\n{TABLE}".replace("0 0 1", "TITLE late\n0 0 1").encode(), "line 6: 'TITLE'"),
    (f"DOMAIN_MIN 1 0 0\nLUT_3D_SIZE 2\n{TABLE}".encode(), "line 1: .*empty or absurd"),
    (f"DOMAIN_MAX 1e7 1 1\nLUT_3D_SIZE 2\n{TABLE}".encode(), "empty or absurd"),
    (f"DOMAIN_MIN 0 0\nLUT_3D_SIZE 2\n{TABLE}".encode(), "not 3 numbers"),
    (f"LUT_3D_INPUT_RANGE 0 nan\nLUT_3D_SIZE 2\n{TABLE}".encode(), "not 2 numbers"),
    (f"DOMAIN_MIN 0 0 0\nLUT_3D_INPUT_RANGE 0 1\nLUT_3D_SIZE 2\n{TABLE}".encode(), "contra"),
    (b"\x89PNG\r\n\x1a\n" + bytes(5000), "unknown word"),
    (b"TITLE " + b"x" * 5000, "line 1: it is longer than 4096 bytes"),
    (b"# x\n" * 20000 + f"LUT_3D_SIZE 2\n{TABLE}".encode(), "no table begins within 65536"),
    (b"\xff\xfe\x00\xd8", "cannot be read"),
]


@pytest.mark.parametrize(("data", "says"), BAD)
def test_bad_tables_are_refused(data, says):
    """Each is refused with what was found."""
    with pytest.raises(CubeError, match=says) as caught:
        read(data, "meadow.cube")

    assert str(caught.value).startswith("meadow.cube: ")


def test_red_runs_fastest():
    """A swapped order leaves greys right and colours wrong: look at a pure red."""
    lattice = read(f"LUT_3D_SIZE 2\n{TABLE}".encode()).three.values

    np.testing.assert_array_equal(lattice[0, 0, 1], [1.0, 0.0, 0.0])
    np.testing.assert_array_equal(lattice[1, 0, 0], [0.0, 0.0, 1.0])


@pytest.mark.parametrize(("data", "says"), [b for b in BAD if len(b[0]) < HEAD_BYTES])
def test_a_head_that_is_the_whole_file_says_the_same(data, says):
    """All but a missing row, which needs the end of the file, is seen in the first bytes."""
    if "and has 7.66" in says:
        check_head(data, len(data), "meadow.cube")
        return
    with pytest.raises(CubeError, match=says):
        check_head(data, len(data), "meadow.cube")


@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_a_huge_file_is_judged_by_its_head(mark):
    """Its size against what it declares, and the rows that are seen; in UTF-16 as well."""
    code = "utf-16-le" if mark else "utf-8"
    rows = "0.5 0.5 0.5\n" * 5000
    good = f"{mark}LUT_3D_SIZE 200\n{rows}".encode(code)[: HEAD_BYTES - 3]
    bad = f"{mark}LUT_3D_SIZE 200\n{rows.replace('5', 'x', 7)}".encode(code)[:HEAD_BYTES]

    check_head(good, 12 * 200**3 * (2 if mark else 1), "a.cube")
    for head, total, says in [
        (good, 1 << 40, "bytes, more than"),
        (good, 40 << 20, "declares 8000000 rows"),
        (bad, 12 * 200**3 * 2, "line 2: '0.x'"),
        (b"\n" * HEAD_BYTES, 1 << 20, "no table begins within"),
    ]:
        if says.startswith("declares") and mark:
            total *= 2
        with pytest.raises(CubeError, match=says):
            check_head(head, total, "a.cube")


def test_curves_come_before_the_lattice():
    """Both tables of one file, each with its range; a domain is that of the lattice."""
    rows = "0 0 0\n.5 .5 .5\n1 1 1\n"
    head = "LUT_3D_SIZE 2\nLUT_1D_SIZE 3\n"
    both = read(f"{head}LUT_1D_INPUT_RANGE -1 3\nLUT_3D_INPUT_RANGE 0 4\n{rows}{TABLE}".encode())
    domain = read(f"{head}DOMAIN_MAX 2 2 2\n{rows}{TABLE}".encode())
    alone = read(f"LUT_1D_SIZE 3\nDOMAIN_MIN -1 -2 -3\n{rows}".encode())

    np.testing.assert_array_equal(both.one.values[:, 1], [0.0, 0.5, 1.0])
    np.testing.assert_array_equal(both.three.values, IDENTITY)
    assert (both.one.low, both.one.high) == ((-1.0,) * 3, (3.0,) * 3)
    assert (both.three.low, both.three.high) == ((0.0,) * 3, (4.0,) * 3)
    assert (domain.one.high, domain.three.high) == ((1.0,) * 3, (2.0,) * 3)
    assert (alone.one.low, alone.three) == ((-1.0, -2.0, -3.0), None)


VALUES = st.floats(-4.0, 4.0).map(lambda x: round(x, 6))
LATTICES = st.integers(2, 5).flatmap(
    lambda n: hnp.arrays(np.float64, (n, n, n, 3), elements=VALUES)
)
CURVES = st.integers(2, 9).flatmap(lambda n: hnp.arrays(np.float64, (n, 3), elements=VALUES))
LOW, HIGH = st.floats(-2.0, 0.0), st.floats(0.5, 4.0)


@settings(deadline=None)
@given(LATTICES | st.none(), CURVES | st.none(), st.text(max_size=40), LOW, HIGH)
def test_what_is_written_is_read_back(lattice, curves, title, low, high):
    """Six decimals come back to the bit, titles on one line, ranges to nine digits."""
    if lattice is None and curves is None:
        return
    ends = ((low,) * 3, (high,) * 3) if curves is not None else ((low, 0, 0), (high, 1, 2))
    cube = CubeFile(
        one=None if curves is None else Table1D(curves, (low,) * 3, (high,) * 3),
        three=None if lattice is None else Table3D(lattice, *ends),
        title=title,
    )

    back = read(write(cube))

    for table, found in ((cube.one, back.one), (cube.three, back.three)):
        assert (table is None) == (found is None)
        if table is not None:
            np.testing.assert_array_equal(found.values, table.values)
            assert found.low == pytest.approx(table.low, rel=1e-8)
            assert found.high == pytest.approx(table.high, rel=1e-8)
    assert write(back) == write(cube)


def test_long_texts_are_kept_to_what_can_be_written():
    """A title and a comment that fill their lines with bytes that are no text: read and written."""
    line = b"\xff" * 4080
    cube = read(b"TITLE " + line + b"\n#" + line + f"\nLUT_3D_SIZE 2\n{TABLE}".encode())

    again = read(write(cube))

    assert (again.title, again.comments) == (cube.title, cube.comments)
    assert cube.title == "\ufffd" * 1000


def test_a_table_that_is_none_is_not_written():
    """Shapes, values and ranges that cannot be read back are refused."""
    curves = Table1D(np.zeros((4, 3)), (0.0, 0.1, 0.0))
    for cube, says in [
        (CubeFile(), "no table"),
        (CubeFile(three=Table3D(np.zeros((2, 3, 2, 3)))), "N, N, N, 3"),
        (CubeFile(one=Table1D(np.zeros((1, 3)))), "n 2 to"),
        (CubeFile(three=Table3D(np.full((2, 2, 2, 3), np.nan))), "finite"),
        (CubeFile(three=Table3D(np.full((2, 2, 2, 3), 7e4))), "65504"),
        (CubeFile(one=curves, three=Table3D(np.zeros((2, 2, 2, 3)))), "one range"),
        (CubeFile(one=curves, title="x" * 1001), "at most 1000 characters"),
        (CubeFile(one=curves, comments=("x" * 1000,) * 70), "at most 65536 bytes"),
    ]:
        with pytest.raises(ValueError, match=says):
            write(cube)


@pytest.mark.oracle
def test_opencolorio_reads_what_we_write(tmp_path):
    """The written table means the same to OpenColorIO, colours and range included."""
    lattice = np.random.default_rng(0).random((9, 9, 9, 3))
    path = tmp_path / "table.cube"
    path.write_bytes(write(CubeFile(three=Table3D(lattice, (-0.5,) * 3, (1.5,) * 3))))
    transform = ocio.FileTransform(str(path), interpolation=ocio.INTERP_TETRAHEDRAL)
    processor = ocio.Config.CreateRaw().getProcessor(transform).getDefaultCPUProcessor()
    nodes = np.stack(
        np.meshgrid(*[np.linspace(-0.5, 1.5, 9)] * 3, indexing="ij")[::-1], axis=-1
    ).reshape(-1, 3)
    found = nodes.astype(np.float32)
    processor.applyRGB(found)

    np.testing.assert_allclose(found.reshape(lattice.shape), lattice, atol=2e-6)

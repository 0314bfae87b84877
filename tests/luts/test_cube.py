"""Reading and writing 3D .cube tables: the grammar, its refusals, and a second reader."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO as ocio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from evenhand.luts.cube import Cube, CubeError, read_cube, write_cube

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
        f"LUT_3D_SIZE 2\n{TABLE}".replace("1", "+.1E+1").replace("SIZE 2", "SIZE 2").encode(),
    ],
)
def test_good_variants_are_read(data):
    """Line ends, marks, case, order, comments and number forms do not change the table."""
    np.testing.assert_array_equal(read_cube(data).lattice, IDENTITY)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "no table"),
        (b"LUT_3D_SIZE 2\n", "no table"),
        (TABLE.encode(), "LUT_3D_SIZE"),
        (f"LUT_3D_SIZE 2.0\n{TABLE}".encode(), "whole number"),
        (f"LUT_3D_SIZE 1\n{TABLE}".encode(), "whole number"),
        (f"LUT_3D_SIZE 257\n{TABLE}".encode(), "whole number"),
        (f"LUT_3D_SIZE 99999999999999999999\n{TABLE}".encode(), "whole number"),
        (f"LUT_3D_SIZE 200\n{TABLE}".encode(), "8000000 rows"),
        (f"LUT_3D_SIZE 2\nLUT_3D_SIZE 2\n{TABLE}".encode(), "second time"),
        (f"LUT_3D_SIZE 2\nGAMMA 2.2\n{TABLE}".encode(), "line 2 has the unknown word 'GAMMA'"),
        (f"LUT_3D_SIZE 2\n{TABLE}0 0 0\n".encode(), "has 9"),
        (f"LUT_3D_SIZE 2\n{TABLE[:-6]}".encode(), "rows"),
        (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 nan").encode(), "line 9 has 'nan"),
        (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 inf").encode(), "inf"),
        (f"LUT_3D_SIZE 2\n{TABLE}".replace("0 1 0", "0 1 0,5").encode(), "line 4 has ',5"),
        (f"LUT_3D_SIZE 2\n{TABLE}".replace("0 1 0", "0 1_0 0").encode(), "_0"),
        (f"LUT_3D_SIZE 2\n{TABLE}".replace("0 1 0", "0 0x1 0").encode(), "x1"),
        (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 1e9").encode(), "65504"),
        (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 1e999").encode(), "65504"),
        (f"LUT_3D_SIZE 2\n{TABLE}".replace("1 1 1", "1 1 e").encode(), "no number"),
        (f"LUT_3D_SIZE 2\n{TABLE}TITLE late\n".encode(), "TITLE late"),
        (f"DOMAIN_MIN 1 0 0\nLUT_3D_SIZE 2\n{TABLE}".encode(), "empty or absurd"),
        (f"DOMAIN_MIN 0 0\nLUT_3D_SIZE 2\n{TABLE}".encode(), "not 3 numbers"),
        (f"DOMAIN_MIN 0 0 0\nLUT_3D_INPUT_RANGE 0 1\nLUT_3D_SIZE 2\n{TABLE}".encode(), "contra"),
        (b"LUT_1D_SIZE 2\n0 0 0\n1 1 1\n", "one-dimensional"),
        (b"\x89PNG\r\n\x1a\n" + bytes(5000), "unknown word"),
        (b"TITLE " + b"x" * 5000, "longer"),
        (b"\xff\xfe\x00\xd8", "cannot be read"),
    ],
)
def test_bad_tables_are_refused(data, says):
    """Each is refused with what was found."""
    with pytest.raises(CubeError, match=says) as caught:
        read_cube(data, "meadow.cube")

    assert str(caught.value).startswith("meadow.cube: ")


def test_red_runs_fastest():
    """A swapped order leaves greys right and colours wrong: look at a pure red."""
    lattice = read_cube(f"LUT_3D_SIZE 2\n{TABLE}".encode()).lattice

    np.testing.assert_array_equal(lattice[0, 0, 1], [1.0, 0.0, 0.0])
    np.testing.assert_array_equal(lattice[1, 0, 0], [0.0, 0.0, 1.0])


TABLES = st.integers(2, 5).flatmap(
    lambda n: hnp.arrays(
        np.float64,
        (n, n, n, 3),
        elements=st.floats(-4.0, 4.0).map(lambda x: round(x, 6)),
    )
)


@settings(deadline=None)
@given(TABLES, st.text(max_size=40), st.floats(-2.0, 0.0), st.floats(0.5, 4.0))
def test_what_is_written_is_read_back(lattice, title, low, high):
    """Six decimals come back to the bit, titles on one line, ranges to nine digits."""
    cube = Cube(lattice=lattice, low=(low, 0.0, 0.0), high=(high, 1.0, 2.0), title=title)

    back = read_cube(write_cube(cube))

    np.testing.assert_array_equal(back.lattice, lattice)
    assert back.low == pytest.approx(cube.low, rel=1e-8)
    assert back.high == pytest.approx(cube.high, rel=1e-8)
    assert write_cube(back) == write_cube(Cube(lattice=lattice, low=back.low, high=back.high,
                                               title=back.title))  # fmt: skip


def test_a_lattice_that_is_none_is_not_written():
    """Shapes and values that cannot be read back are refused."""
    with pytest.raises(ValueError, match="N, N, N, 3"):
        write_cube(Cube(lattice=np.zeros((2, 3, 2, 3))))
    with pytest.raises(ValueError, match="finite"):
        write_cube(Cube(lattice=np.full((2, 2, 2, 3), np.nan)))


@pytest.mark.oracle
def test_opencolorio_reads_what_we_write(tmp_path):
    """The written table means the same to OpenColorIO, colours and range included."""
    lattice = np.random.default_rng(0).random((9, 9, 9, 3))
    path = tmp_path / "table.cube"
    path.write_bytes(write_cube(Cube(lattice=lattice, low=(-0.5,) * 3, high=(1.5,) * 3)))
    transform = ocio.FileTransform(str(path), interpolation=ocio.INTERP_TETRAHEDRAL)
    processor = ocio.Config.CreateRaw().getProcessor(transform).getDefaultCPUProcessor()
    nodes = np.stack(
        np.meshgrid(*[np.linspace(-0.5, 1.5, 9)] * 3, indexing="ij")[::-1], axis=-1
    ).reshape(-1, 3)
    found = nodes.astype(np.float32)
    processor.applyRGB(found)

    np.testing.assert_allclose(found.reshape(lattice.shape), lattice, atol=2e-6)

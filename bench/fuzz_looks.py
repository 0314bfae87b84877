"""Reads a great many damaged look files: no crash, no hang, no memory that grows.

Every file is made from good ones by a few random changes, the same for the same number, written to
disk and read by the whole road: first bytes, checks, tables or OpenColorIO, evaluation. It must
give a look whose values are finite, or a refusal. A file that takes over a second of processor
time, another error, a dead process, or a process of over 500 MB is a failure, and is kept.

    python bench/fuzz_looks.py --files 40000
    python bench/fuzz_looks.py --first 1234 --files 1      # one of them again
"""

from __future__ import annotations

import argparse
import collections
import dataclasses
import multiprocessing
import random
import resource
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from evenhand.grade.cdl_file import to_cdl
from evenhand.grade.clf import to_clf
from evenhand.grade.document import Cdl
from evenhand.grade.look_file import read_look
from evenhand.grade.looks import look_named
from evenhand.grade.tables import lattice_of
from evenhand.luts.cube import CubeFile, read, write
from evenhand.luts.errors import LookFileError
from evenhand.luts.tables import Table1D, Table3D
from evenhand.media.look_file import read_look_bytes

MOST_SECONDS, MOST_MIB = 1.0, 500.0
CHUNK = 250
COLOURS = np.random.default_rng(0).random((16, 3)) * 1.4 - 0.2

STEPS = (
    '<Matrix inBitDepth="32f" outBitDepth="32f"><Array dim="3 4">1 0 0 .1 0 1 0 0 0 0 1 0</Array>'
    "</Matrix>",
    '<LUT1D inBitDepth="32f" outBitDepth="32f"><Array dim="3 1">0 0.4 1</Array></LUT1D>',
    '<Range inBitDepth="32f" outBitDepth="32f"><minInValue>0</minInValue>'
    "<maxInValue>1</maxInValue><minOutValue>.1</minOutValue><maxOutValue>.9</maxOutValue></Range>",
    '<Log inBitDepth="32f" outBitDepth="32f" style="cameraLinToLog"><LogParams base="2" '
    'logSideSlope="0.057" logSideOffset="0.55" linSideBreak="0.0078"/></Log>',
    '<Exponent inBitDepth="32f" outBitDepth="32f" style="monCurveFwd"><ExponentParams '
    'exponent="2.4" offset="0.055"/></Exponent>',
    '<ASC_CDL inBitDepth="32f" outBitDepth="32f" style="Fwd"><SOPNode><Slope>1 1 .9</Slope>'
    "<Offset>0 0 .1</Offset><Power>1 1.2 1</Power></SOPNode></ASC_CDL>",
)
TOKENS = (
    *(b"nan", b"inf", b"-inf", b"1e999", b"1e-999", b"-0", b"0x10", b"1_0", b"0,5", b"1e", b"+"),
    *(b"9" * 40, b"." * 5, b"99999999999999999999", b"-1", b"0", b"2", b"129", b"256", b"257"),
    *(b"LUT_3D_SIZE 2\n", b"LUT_1D_SIZE 65536\n", b"LUT_3D_SIZE 256\n", b"TITLE x\n"),
    *(b"DOMAIN_MIN 2 2 2\n", b"LUT_3D_INPUT_RANGE -1 3\n", b"# ", b"\n", b"\r", b"\t", b"\0"),
    *(b"<", b">", b"/>", b"<!--", b"-->", b"]]>", b"<![CDATA[", b"&amp;", b"&#0;", b"&a;", b'"'),
    *(b'<!DOCTYPE a [<!ENTITY a "b">]>', b"<Array dim='2 2 2 3'>", b"</Array>", b"<Info>"),
    *(b'<Reference path="/etc/passwd"/>', b'dim="300000 1"', b'dim="129 129 129 3"', b"65536 3"),
    *(b"<ColorCorrection id='a'>", b"</ColorCorrection>", b"<Slope>nan 0 1</Slope>", b"0@0 1@1"),
    *("é".encode(), b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf", b"\xed\xa0\x80", "𝄞".encode()),
)  # fmt: skip


def seeds() -> list[bytes]:
    """Good files of every kind, and some of kinds that are not read."""
    lattice = {n: lattice_of(look_named("oven-light"), n) for n in (2, 3, 5, 17)}
    curves = np.linspace(0.0, 1.0, 9)[:, None] ** np.array([0.8, 1.0, 1.3])
    cubes = [CubeFile(three=Table3D(v), title="Oven", comments=("made",)) for v in lattice.values()]
    cubes += [CubeFile(one=Table1D(curves)), CubeFile(one=Table1D(curves), three=cubes[1].three)]
    cubes += [CubeFile(three=Table3D(lattice[3], (-0.5,) * 3, (1.5, 1.0, 2.0)))]
    found = [write(cube, digits) for cube in cubes for digits in (2, 6)]
    found += [data.replace(b"\n", b"\r\n") for data in found[:4]]
    found += [found[2].decode().encode("utf-16"), b"\xef\xbb\xbf" + found[3]]
    found += [to_clf(values, "oven") for values in lattice.values()]
    found += [
        f'<ProcessList id="a" compCLFversion="3.0">{"".join(steps)}</ProcessList>'.encode()
        for steps in (*([step] for step in STEPS), STEPS)
    ]
    corrections = [("a", Cdl((1.1, 1.0, 0.9), saturation=0.8)), ("b", Cdl())]
    found += [to_cdl(corrections[:1], "cc"), to_cdl(corrections, "ccc"), to_cdl(corrections, "cdl")]
    return [*found, b"CSPLUTV100\n3D\n", b"0 64 1023\n0 0 0\n", b"PK\x03\x04" + bytes(99), b""]


def changed(data: bytes, others: list[bytes], chance: random.Random) -> bytes:
    """One random change: of a digit, which leaves most files whole, of bytes, or of words."""
    change = chance.choice((a_digit, some_bytes, some_bytes, some_words))
    return change(data, others, chance)


def a_digit(data: bytes, _others: list[bytes], chance: random.Random) -> bytes:
    at = chance.randrange(len(data) + 1)
    digits = [k for k in range(at, min(len(data), at + 200)) if 48 <= data[k] <= 57]
    k = chance.choice(digits) if digits else 0
    return data[:k] + b"%d" % chance.randrange(10) + data[k + 1 :]


def some_bytes(data: bytes, others: list[bytes], chance: random.Random) -> bytes:
    at, end = sorted(chance.randrange(len(data) + 1) for _ in range(2))
    near = min(len(data), at + chance.randrange(1, 60))
    swap = chance.choice(((b"\n", b"\r"), (b" ", b"\t"), (b".", b","), (b"0", b"1")))
    return (
        lambda: data[:at],
        lambda: data[:at] + data[near:],
        lambda: data[:near] + data[at:near] * chance.choice((1, 2, 300)) + data[near:],
        lambda: data[:at] + chance.randbytes(near - at) + data[near:],
        lambda: data[:at] + chance.choice(others)[at:] + data[end:],
        lambda: data.replace(*swap),
        lambda: data[:at] + chance.choice(TOKENS) * chance.choice((1, 1, 1, 5000)) + data[at:],
    )[chance.randrange(7)]()


def some_words(data: bytes, _others: list[bytes], chance: random.Random) -> bytes:
    words = data.split(b" ")
    place, other = chance.randrange(len(words)), chance.randrange(len(words))
    what = chance.randrange(3)
    if what == 0:
        words[place] = chance.choice(TOKENS)
    elif what == 1:
        words[place : place + 1] = [words[place]] * chance.choice((2, 50))
    else:
        words[place], words[other] = words[other], words[place]
    return b" ".join(words)


def made(number: int, good: list[bytes]) -> tuple[bytes, str, str | None]:
    """File `number`: its bytes, its name, and the correction asked for."""
    chance = random.Random(number)
    data = chance.choice(good)
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        data = changed(data, good, chance)[: 4 << 20]
    suffix = chance.choice(("cube", "cube", "clf", "cc", "ccc", "cdl", "3dl", ""))
    return data, f"look.{suffix}", chance.choice((None, "a", "b"))


def outcome(path: Path, correction: str | None) -> str:
    """What became of a file: its kind, or that it was refused. Raises what must not happen."""
    try:
        data = read_look_bytes(path)
        file = read_look(data, path.name, correction=correction)
    except LookFileError as error:
        if "\n" in str(error):
            raise AssertionError("a refusal of more than one line") from error
        # What OpenColorIO refused had come through the first look at the file.
        return "refused by its reader" if "not valid" in error.found else "refused at once"
    if not np.isfinite(file.look.apply(COLOURS)).all():
        raise AssertionError("a look whose values are no numbers")
    if file.kind == "cube":
        cube = dataclasses.replace(read(data), comments=())  # thousands of them fill a header
        again = read(write(cube, 12))
        for one, other in ((cube.one, again.one), (cube.three, again.three)):
            if one is not None and np.abs(one.values - other.values).max() > 1e-9:
                raise AssertionError("written and read back, it is another table")
    return file.kind


def run(span: tuple[int, int, str]) -> dict[str, Any]:
    """Read the files of one span; called in a process of its own pool."""
    first, last, folder = span
    good, counts, faults, slowest = seeds(), collections.Counter(), [], 0.0
    for number in range(first, last):
        data, name, correction = made(number, good)
        path = Path(folder) / f"{first}-{name}"
        path.write_bytes(data)
        start = time.process_time()
        try:
            counts[outcome(path, correction)] += 1
        except Exception as error:  # everything else is what is looked for
            faults.append((number, f"{type(error).__name__}: {error}"[:200]))
        seconds = time.process_time() - start
        slowest = max(slowest, seconds)
        if seconds > MOST_SECONDS:
            faults.append((number, f"{seconds:.2f} s"))
    mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"counts": counts, "faults": faults, "slowest": slowest, "mib": mib}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=40_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    wish = parser.parse_args()
    last = wish.first + wish.files
    counts: collections.Counter[str] = collections.Counter()
    faults: list[tuple[int, str]] = []
    slowest = mib = 0.0
    with tempfile.TemporaryDirectory() as folder:
        spans = [(n, min(n + CHUNK, last), folder) for n in range(wish.first, last, CHUNK)]
        # A process that dies ends the run: its span is the one that gives no answer.
        with multiprocessing.get_context("spawn").Pool(wish.workers) as pool:
            pending = [(span, pool.apply_async(run, (span,))) for span in spans]
            for span, answer in pending:
                try:
                    found = answer.get(timeout=120.0)
                except multiprocessing.TimeoutError:
                    faults.append((span[0], f"no answer for files {span[0]} to {span[1] - 1}"))
                    break
                counts.update(found["counts"])
                faults += found["faults"]
                slowest, mib = max(slowest, found["slowest"]), max(mib, found["mib"])
    lines = [f"{wish.files} files: " + ", ".join(f"{n} {k}" for k, n in counts.most_common())]
    lines.append(f"slowest {slowest:.2f} s of processor time, largest process {mib:.0f} MiB")
    lines += [f"file {number}: {what}" for number, what in faults]
    sys.stdout.write("\n".join(lines) + "\n")
    return int(bool(faults) or mib > MOST_MIB)


if __name__ == "__main__":
    sys.exit(main())

"""What is wrong with a pack is found, whatever was tampered with; what is not ours is said."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from evenhand.jobs import lookpack
from evenhand.jobs.packcheck import Finding, PackChecked, check_pack
from evenhand.luts.archive_read import ArchiveError

sys.path.insert(0, str(Path(__file__).parent))
from small_pack import put_together, small_pack, taken_apart, zipped

Members = dict[str, bytes]
DISPLAY = "after-the-conversion/rye-on-display-17.cube"
DISPLAY_CLF = "after-the-conversion/rye-on-display-17.clf"
LOG = "instead-of-the-conversion/from-phone-log-first-generation/rye-from-phone-log-1-17.cube"
LOG_2 = "instead-of-the-conversion/from-phone-log-second-generation/rye-from-phone-log-2-17.cube"


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pack") / "looks.zip"
    with pytest.MonkeyPatch.context() as patch:  # the sheet costs more than the rest, and is a hash
        patch.setattr(lookpack, "_sheet", lambda *_: b"no picture")
        small_pack(path, ("rye",))
    return path


@pytest.fixture
def members(pack: Path) -> Members:
    return taken_apart(pack)


def failures(checked: PackChecked) -> list[Finding]:
    return [finding for finding in checked.findings if finding.level == "fail"]


def agreeing(members: Members, change: Callable[[Any], None] = lambda _: None) -> Members:
    """With an index whose hashes are right for the members, and a change to it."""
    index = msgspec.json.decode(members["looks.json"])
    for look in index["looks"]:
        look["sha256"] = hashlib.sha256(members[look["document"]]).hexdigest()
        for table in look["tables"]:
            if table["path"] in members:
                table["sha256"] = hashlib.sha256(members[table["path"]]).hexdigest()
    change(index)
    return {**members, "looks.json": msgspec.json.encode(index)}


def node_changed(data: bytes, by: int) -> bytes:
    """One node of a .cube, in the middle, changed in its last digits."""
    lines = data.decode().splitlines(keepends=True)
    place = len(lines) - 17**3 // 2
    red, rest = lines[place].split(" ", 1)
    lines[place] = f"{float(red) + by * 1e-6:.6f} {rest}"
    return "".join(lines).encode()


def test_a_pack_as_it_was_written_passes(pack: Path) -> None:
    """The places of its licence that wait are worth knowing and no fault."""
    checked = check_pack(pack)

    assert checked.passes
    assert checked.ours
    assert (checked.looks, checked.tables) == (1, 6)
    assert [f.member for f in checked.findings] == ["LICENCE.txt"]


def test_packed_anew_it_still_passes(members: Members, tmp_path: Path) -> None:
    """By another writer, as after a person put a file in and out again: members count."""
    assert check_pack(zipped(members, tmp_path / "a.zip")).passes


def test_a_changed_byte_in_any_member_is_found(members: Members, tmp_path: Path) -> None:
    """By its checksum, and named."""
    names = set(members) - {"SHA256SUMS"}
    changed = {name: data[:-2] + b"# " for name, data in members.items() if name in names}
    changed["SHA256SUMS"] = members["SHA256SUMS"]
    found = failures(check_pack(put_together(changed, tmp_path / "a.zip", sums=False)))

    assert {f.member for f in found if "changed" in f.says} == names


@pytest.mark.parametrize("sums", [True, False])
def test_a_missing_member_is_found(members: Members, tmp_path: Path, sums: bool) -> None:
    """With the list of checksums put right, too."""
    names = {"README.txt", "LICENCE.txt", "sheet.png", "documents/rye.toml", DISPLAY, LOG}
    kept = {name: data for name, data in members.items() if name not in names}
    found = failures(check_pack(put_together(kept, tmp_path / "a.zip", sums=sums)))

    assert {f.member for f in found if "missing" in f.says} == names


def test_a_missing_list_of_checksums_is_found(members: Members, tmp_path: Path) -> None:
    """Nothing else would tell a changed contact sheet."""
    del members["SHA256SUMS"]
    (found,) = failures(check_pack(put_together(members, tmp_path / "a.zip", sums=False)))

    assert (found.member, found.says) == ("SHA256SUMS", "missing")


def test_an_extra_member_is_found(members: Members, tmp_path: Path) -> None:
    """With the list of checksums put right: the index does not name it."""
    members["after-the-conversion/run-me.sh"] = b"#!/bin/sh\n"
    (found,) = failures(check_pack(put_together(members, tmp_path / "a.zip")))

    assert found.member == "after-the-conversion/run-me.sh"
    assert "extra" in found.says


def test_one_node_that_is_not_the_looks_is_found(members: Members, tmp_path: Path) -> None:
    """A tenth of a code off, with every checksum put right."""
    members |= {name: node_changed(members[name], 100) for name in (DISPLAY, LOG)}
    found = failures(check_pack(put_together(agreeing(members), tmp_path / "a.zip")))

    assert {f.member for f in found} == {DISPLAY, LOG}
    assert {f.says for f in found} == {"1 of its nodes are not the look's, by 0.102 codes"}


def test_another_document_is_found(members: Members, tmp_path: Path) -> None:
    """Every table is then another look's, and the digest is not the index's."""
    text = members["documents/rye.toml"].decode().replace("1.02", "1.05")
    assert text != members["documents/rye.toml"].decode()
    members["documents/rye.toml"] = text.encode()
    found = failures(check_pack(put_together(agreeing(members), tmp_path / "a.zip")))

    assert {f.member for f in found} >= {"documents/rye.toml", DISPLAY, DISPLAY_CLF, LOG, LOG_2}


def test_a_table_of_another_generation_is_found(members: Members, tmp_path: Path) -> None:
    """Two tables that changed places."""
    members[LOG], members[LOG_2] = members[LOG_2], members[LOG]
    found = failures(check_pack(put_together(agreeing(members), tmp_path / "a.zip")))

    assert {f.member for f in found} == {LOG, LOG_2}
    assert all("unlike its index" in f.says for f in found)


def test_a_combined_table_after_the_conversion_is_found(members: Members, tmp_path: Path) -> None:
    """Even where its own words and the index were changed to say that it belongs there."""
    says = b"expects phone-log-1, gives bt709-display"
    members[DISPLAY] = members[LOG].replace(says, b"expects bt709-display, gives bt709-display")
    found = failures(check_pack(put_together(agreeing(members), tmp_path / "a.zip")))

    assert {f.member for f in found} == {DISPLAY}
    assert "nodes are not the look's" in found[0].says


def said(key: str, value: object, table: bool = False) -> Callable[[Any], None]:
    def change(index: Any) -> None:
        place = index["looks"][0]["tables"][0] if table else index["looks"][0]
        place[key] = value

    return change


def slow(*values: object) -> Any:
    return pytest.param(*values, marks=pytest.mark.slow)


def better_errors(index: Any) -> None:
    for table in index["looks"][0]["tables"]:
        table["errors"]["natural"]["de_p99"] = 0.01


def worse_health(index: Any) -> None:
    index["looks"][0]["health"][-1]["verdict"] = "warn"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        slow(said("title", "Another"), "title, purpose or moves"),
        slow(said("moves", ["nothing"]), "title, purpose or moves"),
        slow(said("digest", "0" * 64), "another look"),
        slow(said("space", "acescct"), "made for bt709-display"),
        slow(said("strength", 0.9), "nodes are not"),
        slow(said("place", "from-phone-log-2", table=True), "no table for such a place"),
        slow(said("expects", "hlg", table=True), "no table for such a place"),
        slow(said("sha256", "0" * 64, table=True), "not the file that"),
        slow(said("kind", "cube", table=True), "unlike its index"),
        slow(said("size", 100_000, table=True), "no table for such a place"),
        slow(said("size", 33, table=True), "nodes are not"),
        (said("strength", 1e300), "a strength of 1e+300"),
        (better_errors, "de_p99 is"),
        slow(worse_health, "its health is"),
        (lambda index: index.update(version=2), "version 2"),
        (lambda index: index.pop("looks"), "cannot be read"),
        slow(lambda index: index["looks"].append(index["looks"][0]), "two looks of one name"),
    ],
)
def test_an_index_that_says_what_is_not_so_is_found(
    members: Members, tmp_path: Path, change: Callable[[Any], None], says: str
) -> None:
    """With every checksum put right."""
    path = put_together(agreeing(members, change), tmp_path / "a.zip")

    assert any(says in finding.says for finding in failures(check_pack(path)))


def test_lines_that_are_no_checksums_are_found(members: Members, tmp_path: Path) -> None:
    """Each by its number."""
    members["SHA256SUMS"] += b"what?\n" + members["SHA256SUMS"].splitlines(keepends=True)[0]
    lines = members["SHA256SUMS"].count(b"\n")
    found = failures(check_pack(put_together(members, tmp_path / "a.zip", sums=False)))

    assert any(f"line {lines - 1} is no checksum" in f.says for f in found)
    assert any("listed twice" in f.says for f in found)


def test_a_member_that_leaves_its_folder_is_found(members: Members, tmp_path: Path) -> None:
    """Told as unsafe; the rest is checked all the same."""
    path = zipped({**members, "../looks.json": b"{}"}, tmp_path / "a.zip")
    found = failures(check_pack(path))

    assert [(f.member, "leaves its folder" in f.says) for f in found] == [("../looks.json", True)]


def test_a_pack_of_others_is_checked_as_far_as_it_goes(members: Members, tmp_path: Path) -> None:
    """What its tables are is told, and that it is not ours; a damaged table fails."""
    others = {"LUTs/a.cube": members[DISPLAY], "LUTs/b.cube": members[LOG], "hello.txt": b"hello"}
    checked = check_pack(zipped(others, tmp_path / "a.zip"))

    assert checked.passes
    assert not checked.ours
    assert checked.tables == 2
    told = {f.member: f.says for f in checked.findings}
    assert "not of our making" in told["looks.json"]
    assert "a creative look for a display" in told["LUTs/a.cube"]
    assert "a conversion from log" in told["LUTs/b.cube"]

    others["LUTs/b.cube"] = members[LOG][:-40]
    (found,) = failures(check_pack(zipped(others, tmp_path / "b.zip")))
    assert found.member == "LUTs/b.cube"


@pytest.mark.parametrize("content", [b"", b"words", b"PK\x03\x04" + b"x" * 90])
def test_what_is_no_zip_is_refused(tmp_path: Path, content: bytes) -> None:
    """In one line, as what does not exist is, and a folder."""
    path = tmp_path / "a.zip"
    path.write_bytes(content)
    for place in (path, tmp_path / "none.zip", tmp_path):
        with pytest.raises(ArchiveError):
            check_pack(place)

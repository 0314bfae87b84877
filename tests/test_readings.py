"""What is remembered is made anew when the code that makes it has changed.

`python tests/test_readings.py` writes the digests down, once the numbers of readings whose code has
changed were raised.
"""

from __future__ import annotations

import importlib
import json
import pkgutil
import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parent))
from code_digest import _definitions, _tree, digest_of

import evenhand.jobs
from evenhand.shoot.reading import READINGS

DIGESTS = Path(__file__).parent / "reading_digests.json"
PYTHON = f"{sys.version_info.major}.{sys.version_info.minor}"


def every_reading() -> dict[str, dict[str, object]]:
    """The number and the digest of all that jobs declare."""
    for module in pkgutil.walk_packages(evenhand.jobs.__path__, "evenhand.jobs."):
        importlib.import_module(module.name)
    return {
        name: {"number": reading.number, "digest": digest_of(*reading.code)}
        for name, reading in sorted(READINGS.items())
    }


def test_a_reading_whose_code_changed_has_another_number() -> None:
    """The digest and the number change together: else what was remembered would be stale."""
    kept = json.loads(DIGESTS.read_text("utf-8"))
    if kept["python"] != PYTHON:
        pytest.skip(
            f"the digests were written by Python {kept['python']}, whose syntax tree counts"
        )

    stale = [
        name
        for name, now in every_reading().items()
        if name in kept["readings"]
        and now["digest"] != kept["readings"][name]["digest"]
        and now["number"] == kept["readings"][name]["number"]
    ]
    assert stale == [], "raise the numbers of these, then run: python tests/test_readings.py"
    assert every_reading() == kept["readings"], "run: python tests/test_readings.py"


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A package of two modules, one of which calls the other."""
    place = tmp_path / "evenhand"
    place.mkdir()
    (place / "__init__.py").write_text("")
    (place / "a.py").write_text(
        'from evenhand.b import other\n\nLIMIT = 3\n\ndef read(x):\n    """What."""\n'
        "    return other(x) + LIMIT\n"
    )
    (place / "b.py").write_text(
        "def other(x):\n    return x  # as it is\n\ndef third():\n    pass\n"
    )
    monkeypatch.setattr("code_digest.ROOT", tmp_path)
    _tree.cache_clear()
    _definitions.cache_clear()
    yield place
    for forget in (_tree, _definitions, sys.modules["code_digest"]._imports):
        forget.cache_clear()


@pytest.mark.parametrize(
    ("file", "old", "new", "changes"),
    [
        ("a.py", "LIMIT = 3", "LIMIT = 4", True),
        ("b.py", "return x", "return -x", True),
        ("a.py", "+ LIMIT", "- LIMIT", True),
        ("a.py", "What.", "Something else.", False),
        ("b.py", "# as it is", "# untouched", False),
        ("b.py", "    pass", "    return 1", False),
    ],
)
def test_the_digest_follows_what_is_called(
    package: Path, file: str, old: str, new: str, changes: bool
) -> None:
    """Code and constants count, near and far; comments, docstrings and unused code do not."""
    before = digest_of("evenhand.a:read")
    text = (package / file).read_text()
    assert old in text
    (package / file).write_text(text.replace(old, new))
    for forget in (_tree, _definitions, sys.modules["code_digest"]._imports):
        forget.cache_clear()

    assert (digest_of("evenhand.a:read") != before) == changes


if __name__ == "__main__":
    written = {"python": PYTHON, "readings": every_reading()}
    DIGESTS.write_text(json.dumps(written, indent=2) + "\n", "utf-8")

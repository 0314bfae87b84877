"""A small card in a folder of its own, and the command line called in this process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pytest

from evenhand.cli.main import status


@dataclass(frozen=True)
class Said:
    """What a call of the command line came to."""

    status: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        return [line for line in self.err.splitlines() if line.startswith("evenhand:")]


Call = Callable[..., Said]


@pytest.fixture
def call(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    quick_spec: Callable[..., str],
) -> Call:
    """Call a verb in a folder of its own; no call may show a traceback."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tiny.toml").write_text(quick_spec("tiny"), "utf-8")

    def run(*arguments: object) -> Said:
        code = status([str(a) for a in arguments])
        captured = capsys.readouterr()
        assert "Traceback" not in captured.err
        return Said(code, captured.out, captured.err)

    return run


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """An empty card."""
    place = tmp_path / "card"
    place.mkdir()
    return place


@pytest.fixture
def log_clip(synth: ModuleType, card: Path) -> Path:
    """One phone-log clip of twelve frames, with a track of sound."""
    path: Path = synth.write_clip(
        card / "A001.mov", **synth.PRORES, frames=12, tags=synth.PHONE_LOG, audio=1
    )
    return path

"""Fixtures for all tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def synth() -> ModuleType:
    """The module that makes small clips: tests/media/synth.py."""
    name = "evenhand_tests_synth"
    if name not in sys.modules:
        place = Path(__file__).parent / "media" / "synth.py"
        spec = importlib.util.spec_from_file_location(name, place)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module  # before it runs: its dataclasses look themselves up
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="session")
def real_clips() -> Path:
    """The folder of real phone clips beside the repository; skips where it is absent."""
    place = Path(__file__).parents[2] / "shared" / "clips"
    if not place.is_dir():
        pytest.skip("the real clips are not on this machine (../shared/clips)")
    return place

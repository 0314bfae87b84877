"""What may be loaded, and by whom."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
HEAVY = {"numba", "numpy", "PyOpenColorIO", "av", "cv2", "jinja2", "rich", "msgspec"}


def loaded_by(code: str) -> set[str]:
    program = f"import sys\ntry:\n    {code}\nexcept SystemExit:\n    pass\nprint(*sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return set(run.stdout.split())


def test_help_loads_nothing_that_costs_time() -> None:
    """`evenhand --help` must not wait for array, codec or drawing libraries."""
    code = "from evenhand.cli.main import status; status(['--help'])"

    assert HEAVY & loaded_by(code) == set()


def test_the_import_budget_test_can_fail() -> None:
    """A verb that does work does load arrays, so the check above has something to see."""
    assert "numpy" in loaded_by("import evenhand.grade.exact")


def test_layers_import_only_downwards() -> None:
    """The contracts of pyproject.toml hold."""
    tool = shutil.which("lint-imports", path=str(Path(sys.executable).parent))
    assert tool is not None

    run = subprocess.run(
        [tool, "--no-cache"], capture_output=True, text=True, cwd=ROOT, check=False
    )

    assert run.returncode == 0, run.stdout

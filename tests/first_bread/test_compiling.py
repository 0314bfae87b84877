"""What was compiled is forgotten when any module of the package changes."""

from __future__ import annotations

from pathlib import Path

from first_bread.compiling import _forget_stale


def test_change_in_any_module_empties_the_store(tmp_path: Path) -> None:
    """Compiled loops stay while the modules stay, and go when one changes."""
    module = tmp_path / "a.py"
    module.write_text("x = 1\n")
    _forget_stale(tmp_path)
    compiled = tmp_path / "__pycache__" / "a.f-1.py311.nbi"
    compiled.write_bytes(b"")
    _forget_stale(tmp_path)
    assert compiled.exists()
    module.write_text("x = 2\n")
    _forget_stale(tmp_path)
    assert not compiled.exists()

"""A file of a look that cannot be read."""

from __future__ import annotations

from evenhand.errors import EvenhandError


class LookFileError(EvenhandError):
    """A look file is of another kind, damaged, too large, or says what cannot be."""

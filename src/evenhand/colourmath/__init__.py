"""Encodings, primaries, adaptation, CDL and colour difference as pure functions on arrays."""

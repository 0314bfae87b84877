"""Bytes to tables and back for the open look-up formats; opens no file."""

"""The shoot document, its store, its migrations and the measurement cache."""

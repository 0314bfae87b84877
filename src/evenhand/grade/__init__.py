"""The grade as data, the exact transform, the compiled transform, looks and output transforms."""

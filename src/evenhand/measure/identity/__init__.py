"""How a clip means light: clues, tags and pictures, weighed as evidence."""

"""The hue of skin, as a check."""

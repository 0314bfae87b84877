"""First Bread: the invented documentary whose clips are the demo card."""

"""Containers, frames, sound, tags and stills: everything that touches a codec or a picture file."""

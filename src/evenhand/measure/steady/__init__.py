"""Light that changes by itself inside a clip: exposure and white that drift, mains that pulse."""

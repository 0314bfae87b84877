"""Every Numba loop of the project: arrays in, arrays out, no decisions about colour."""

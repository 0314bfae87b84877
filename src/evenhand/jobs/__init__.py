"""One use case a module: arguments in, result record out, progress as a callback."""

"""Pure measurements: evidence, scopes, matching, white, timing, evenness."""

"""Physics as pure functions in SI units, known to nobody but books."""

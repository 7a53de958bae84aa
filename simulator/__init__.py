"""A plant that can convict the analytics: physics of its own, faults on demand, truth with the data."""

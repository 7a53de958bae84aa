"""Practice: faults replayed on a copy of the owner's own plant, kept apart from everything live."""

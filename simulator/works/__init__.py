"""The plant itself, in time, and what goes wrong with it."""

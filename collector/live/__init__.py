"""The daemon: ears, loop, sign of life."""

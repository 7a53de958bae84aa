"""What the detectors share: their protocol, what a sound plant does, and which finding speaks."""

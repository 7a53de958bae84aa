"""What the owner knows about the installation: its description, units, parser and payload codec.

The one thing that analytics and simulator share. It holds facts, never physics.
"""

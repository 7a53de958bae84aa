"""The sky over the roof."""

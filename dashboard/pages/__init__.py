"""One room a file."""

"""The plant's physics, one phenomenon a file. Plain functions: numbers in, numbers out, SI units."""

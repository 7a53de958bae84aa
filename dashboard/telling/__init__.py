"""Rows to words: what each part of the plant says of itself."""

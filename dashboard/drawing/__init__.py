"""Rows and words to pictures and pages."""

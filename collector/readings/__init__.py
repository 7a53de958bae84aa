"""Readings files: `time,signal,value` in CSV, read fast where rows are plain, exactly where not."""

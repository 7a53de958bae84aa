"""What was really wrong, from when it showed, and how well findings match it."""

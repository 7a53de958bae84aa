"""What sensors make of the truth, and how they send it."""

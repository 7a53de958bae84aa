"""What is to come, as distributions: from balances of the past."""

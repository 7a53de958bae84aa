"""What people and gardens draw."""

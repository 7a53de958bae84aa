"""Follow the water: the phone dashboard."""

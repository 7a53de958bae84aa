"""Salt and the garden's water: what is in the mix, what crop and soil stand, how long the rain lasts."""

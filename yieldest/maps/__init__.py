"""Many cells at once: gridded wind into maps of energy, cost and payback."""

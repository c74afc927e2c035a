"""Wind-speed records: reading them, and saying how much of the year they cover."""

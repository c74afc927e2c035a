"""A short record carried to the years of a long one near by."""

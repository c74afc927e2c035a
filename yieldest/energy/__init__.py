"""Energy in a year: the distribution through the power curve, less the losses."""

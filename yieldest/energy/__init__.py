"""Energy in a year: the climate through the power curve, less the losses."""

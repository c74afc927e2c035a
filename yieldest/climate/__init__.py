"""The wind and the air at the hub: Weibull climate, height, density."""

"""From the height of measurement to the hub: profile, obstacles, rooftop, air, storms."""

"""What a build costs, and what a kWh from it costs."""

"""What a small wind machine will earn at a site: yearly energy, cost per kWh, payback."""

__version__ = "0.1.0"

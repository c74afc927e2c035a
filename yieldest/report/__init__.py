"""Results for people and for machines."""

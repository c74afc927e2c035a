"""The commands and their options."""

"""Bytes into columns, and results onto the disk whole or not at all."""

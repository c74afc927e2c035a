"""Findings in words: one sentence for each kind of finding that a stage may hand on."""

from yieldest.report.sentences import economics, energy, reading

__all__ = ["economics", "energy", "reading"]

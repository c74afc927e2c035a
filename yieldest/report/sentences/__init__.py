"""Findings in words: one sentence for each kind of finding that a stage may hand on."""

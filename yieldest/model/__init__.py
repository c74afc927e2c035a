"""One plan through the whole chain: inputs, estimate, scenarios."""

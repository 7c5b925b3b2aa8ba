"""The terminal face of the workflow; it holds no rules of its own."""

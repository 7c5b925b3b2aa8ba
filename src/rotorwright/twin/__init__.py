"""A virtual aircraft behind the same wires as the real one."""

"""Which frame of a pass belongs to which frame of the reference."""

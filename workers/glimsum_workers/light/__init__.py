"""A pass on a frame from its codes to light in its place, and what hangs on it."""

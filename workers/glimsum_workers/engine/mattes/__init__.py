"""Mattes: weights 0..1 from pictures, backings, light, differences and outlines."""

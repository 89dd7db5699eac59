"""Flashing pictures counted as the published limits count them; arrays in, figures out."""

"""An element laid into the reference picture: placed, resampled once, its points kept whole."""

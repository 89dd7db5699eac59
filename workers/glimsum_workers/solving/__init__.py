"""What was measured of single frames made levels, tracks and follows of all together."""

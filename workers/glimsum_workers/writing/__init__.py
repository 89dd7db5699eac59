"""Frames and movies written into the folder of a version, or taken over from another."""

"""A pass pulled on to the reference, once."""

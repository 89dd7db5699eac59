"""The steady test: where every pass lies against the reference, with nothing combined."""

"""The drift of passes over a shot: from registrations of single frames to one track a pass."""

"""What a shot job is and what must be done for it: pure values, no files, no clock, no network."""

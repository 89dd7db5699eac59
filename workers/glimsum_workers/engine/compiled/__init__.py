"""Inner loops made into machine code; imported only where pictures are made."""

"""The level of a pass from frame to frame: flicker, slow change, colour, roll bars, dead lamps."""

"""Files and clips in and out: the only folder that opens a picture."""

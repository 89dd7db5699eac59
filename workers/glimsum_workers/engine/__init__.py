"""Arrays in, arrays out: the light, with no files, no queue and no clock."""

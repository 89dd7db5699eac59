"""Pictures to decide by, made here and now: stills, steps, mattes, wedges."""

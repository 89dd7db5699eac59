"""Following a flat patch of a picture through a shot; arrays only."""

"""What was filmed, as a shot's frames need it: its files opened, its darks averaged."""

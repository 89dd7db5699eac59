"""What the steps of the recipe lay on beside passes, each made once a frame."""

"""Finding the motion between a reference picture and a pass in other light; imports engine only."""

"""Near and far told apart by the reference's own move; imports engine only."""

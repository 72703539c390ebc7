"""What happened on the ground: geometry and amounts, from arrays to arrays."""

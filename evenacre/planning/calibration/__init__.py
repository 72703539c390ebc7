"""What a stationary test says of a meter, and the next setting."""

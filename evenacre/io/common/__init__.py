"""What readers of every kind share."""

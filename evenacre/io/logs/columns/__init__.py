"""What the columns of a log mean, and their values in SI."""

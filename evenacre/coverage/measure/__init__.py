"""Settings of the drill that nobody said, as the log itself tells them."""

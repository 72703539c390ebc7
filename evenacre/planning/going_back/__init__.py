"""Whether and in which order to go back over missed ground."""

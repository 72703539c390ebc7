"""Files from strangers: told by their content, bounded, and opened where they can do no harm."""

"""Result folders: made whole, exchanged in one step, and nobody else's files touched."""

"""Map files: boundaries, zones, unworkable ground, and any other layer."""

"""The farm's settings book."""

"""The season file, and what stands in for one: options, or task data."""

"""Maps, charts and map layers."""

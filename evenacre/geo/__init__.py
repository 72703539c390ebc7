"""Geodesy, the working plane and overlays of polygons."""

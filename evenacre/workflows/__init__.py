"""Whole jobs, from inputs to a result or a folder of files."""

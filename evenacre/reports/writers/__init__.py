"""Figures and declared tables as text, JSON, CSV, workbook and HTML."""

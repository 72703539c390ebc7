"""What every result holds: its figures, declared once."""

"""What each account holds: its figures, declared."""

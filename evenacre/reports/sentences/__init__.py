"""The answers in plain words."""

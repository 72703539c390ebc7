"""Paddocks, herd and seeding of a season file."""

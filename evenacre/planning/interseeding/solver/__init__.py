"""Which paddock is seeded on which day, and what to relax."""

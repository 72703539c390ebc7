"""What to do next: settings, loads, nutrients, seed and money. Arithmetic only, no files."""

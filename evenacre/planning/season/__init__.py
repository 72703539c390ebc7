"""The season's sums: products, nutrients, needs, seed, salt and money."""

"""Load tickets: what went into the cart, what was left, what was cleaned out."""

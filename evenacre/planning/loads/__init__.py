"""Loads of the cart: scale, meter and map held against one another."""

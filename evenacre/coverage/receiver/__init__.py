"""How well a log knows its place: how its positions behave, and what is made of that."""

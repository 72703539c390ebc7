"""Three Larks Farm: an invented farm whose logs come with the truth that made them."""

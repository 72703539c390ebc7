"""Many farms: where their files lie, on any kind of storage, and the data set made of them."""

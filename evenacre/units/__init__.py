"""The edge between the units people write and read and SI."""

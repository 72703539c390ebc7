"""What is kept from run to run."""

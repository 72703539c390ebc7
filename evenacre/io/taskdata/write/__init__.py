"""Task data written: fields, prescriptions and guidance lines."""

"""What commands share: options and what they stand for, progress, output."""

"""Logs of machines in every format as tracks; what a file gets wrong is an `InputError`."""

"""Logs of the drive, of any format, as tracks."""

"""Sentences of satellite receivers (NMEA 0183, IEC 61162-1)."""

"""Files in and out: the only room that touches disk or knows a format."""

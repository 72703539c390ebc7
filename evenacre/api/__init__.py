"""What a Python program calls: the jobs of the command line, with frames in and frames out."""

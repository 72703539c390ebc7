"""What a person types for a job, declared once for the command line, the desk and Python."""

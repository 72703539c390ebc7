"""Files from strangers: told by their content, bounded, and opened where they can do no harm.

What a file gets wrong is an `InputError`; ``label`` is how the file is named in it.
"""

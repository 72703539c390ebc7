"""Files made to do harm by being opened, and a watch over what opening them does.

``python -m hostile FOLDER`` (from ``tests``) writes all of them, to be looked at by hand.
"""

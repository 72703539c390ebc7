"""Commands, one a module: parse, call, print."""

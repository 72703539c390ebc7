"""``python -m evenacre``."""

from evenacre.cli import main

if __name__ == "__main__":
    main()

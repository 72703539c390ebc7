"""``python -m evenacre``."""

from evenacre.cli.main import main

if __name__ == "__main__":
    main()

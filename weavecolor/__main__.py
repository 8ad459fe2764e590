"""``python -m weavecolor``: the command line."""

from weavecolor.cli import main

if __name__ == "__main__":
    main()

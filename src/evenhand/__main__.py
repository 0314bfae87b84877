"""`python -m evenhand`."""

from evenhand.cli.main import main

if __name__ == "__main__":  # children import this file too
    main()

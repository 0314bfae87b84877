"""`python -m evenhand`."""

from evenhand.cli.main import main

main()

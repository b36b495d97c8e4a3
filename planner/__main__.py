"""`python -m planner` is `bendorder`."""

from planner.command import main

main()

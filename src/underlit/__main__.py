"""`python -m underlit` is `underlit`."""

from underlit.cli import main

main()

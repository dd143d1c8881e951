"""`python -m tuning` is the command `steadyspan`."""

from tuning.cli import main

main()

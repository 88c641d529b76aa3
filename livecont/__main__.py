"""`python -m livecont` is the command line too."""

from livecont.cli import main

main()

"""`python -m handsfree` is `handsfree`."""

from handsfree.cli import main

main()

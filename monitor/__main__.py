"""``python -m monitor`` is the command ``chipsong``."""

from monitor.cli import main

main()

"""``python -m monitor`` is the command ``chipsong``."""

import sys


def main() -> None:
    """Run the command; Ctrl-C while it is loaded ends it as one that comes later does."""
    try:
        from monitor.cli import main as run  # noqa: PLC0415 - loading takes most of the start
    except KeyboardInterrupt:
        sys.exit(1)
    run()


if __name__ == "__main__":
    main()

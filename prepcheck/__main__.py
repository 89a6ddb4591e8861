"""``python -m prepcheck`` and the command ``prepcheck``."""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    from prepcheck.cli import run

    run()


if __name__ == "__main__":
    main()

"""``python -m sniff``."""

from sniff.cli import main

if __name__ == "__main__":
    main()

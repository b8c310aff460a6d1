"""Run as `python -m sectionprep`."""

from sectionprep.cli import main

if __name__ == "__main__":
    main()

"""Lets ``python -m haltere`` do what ``haltere`` does."""

from haltere.doors.cli import main

if __name__ == "__main__":
    main()

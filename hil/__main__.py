"""`python -m hil` is the same command as `hil`."""

from hil.cli.main import main

if __name__ == "__main__":
    main()

"""`python -m audit` is `lidoff`."""

from audit.cli.main import main

if __name__ == "__main__":
    main()

"""`python -m partkin`, as the installed command."""

from partkin.cli import main

if __name__ == "__main__":
    main()

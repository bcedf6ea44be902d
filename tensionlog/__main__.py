"""`python -m tensionlog` is `tensionlog`."""

from tensionlog.cli import main

if __name__ == "__main__":
    main()

"""`python -m dishtrace` is the command `dishtrace`."""

from dishtrace.cli import app

if __name__ == "__main__":
    app(prog_name="dishtrace")

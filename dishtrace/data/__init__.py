"""Published tables as csv files; the first lines of each give source, unit and range."""

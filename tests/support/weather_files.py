"""Weather files of our own invention: the irradiance of an hour tells which hour it is."""


def day_lengths(is_leap):
    return [31, 29 if is_leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]


def hours_of_year(is_leap=False):
    """(month, day, hour 1 to 24) of every hour."""
    for month, length in enumerate(day_lengths(is_leap), 1):
        for day in range(1, length + 1):
            for hour in range(1, 25):
                yield month, day, hour


def invented_dni(month, day, hour):
    """A number that tells which hour it belongs to: nonlinear in all three."""
    return month + day**2 / 10 + hour**2


def write_epw(path):
    """An EPW file with invented numbers; years differ from month to month, as in typical years."""
    lines = ["LOCATION,Invented,XX,YYY,none,0,40.0,-105.0,-7.0,1800.0", *["COMMENTS"] * 7]
    for month, day, hour in hours_of_year():
        rest = ["0"] * 30
        rest[9] = f"{invented_dni(month, day, hour)}"
        lines.append(",".join([str(1990 + month), str(month), str(day), str(hour), "60", *rest]))
    path.write_text("\n".join(lines) + "\n")


def write_tmy3(path, *, clock="{:02d}:00"):
    """A TMY3 file with invented numbers; its February is of a leap year, as in some real files."""
    lines = ["999999,INVENTED,XX,-7.0,40.0,-105.0,1800", "Date (MM/DD/YYYY),Time (HH:MM),DNI (W/m^2)"]
    for month, day, hour in hours_of_year():
        year = 1988 if month == 2 else 1990 + month
        date = f"{month:02d}/{day:02d}/{year}"
        lines.append(f"{date},{clock.format(hour)},{invented_dni(month, day, hour)}")
    path.write_text("\n".join(lines) + "\n")

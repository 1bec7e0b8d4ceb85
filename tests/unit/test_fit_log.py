"""Reading a heating log: units of the header and of cells, times, what its head gives, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.errors import InputError
from dishtrace.study.fit.log import read_log

HEAD = "# water_kg = 2.5 +- 0.02\n"


def written(tmp_path, text):
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def rows(times, heats):
    return "".join(f"{time},{heat}\n" for time, heat in zip(times, heats, strict=True))


@pytest.mark.parametrize(
    ("column", "shown"),
    [
        ("temperature_c", "20 40 60 70 80 90"),
        ("temperature_f", "68 104 140 158 176 194"),
        ("temperature_k", "293.15 313.15 333.15 343.15 353.15 363.15"),
    ],
)
def test_the_header_tells_the_unit(tmp_path, column, shown):
    """68 degF are 20 degC, 273.15 K are 0 degC; a forgotten 32 or 5/9 is found."""
    log = read_log(written(tmp_path, f"{HEAD}time_min,{column}\n{rows(range(6), shown.split())}"))
    assert log.reading_c == pytest.approx([20, 40, 60, 70, 80, 90])
    assert log.time_s.tolist() == [0, 60, 120, 180, 240, 300]
    assert log.given.amounts["water_kg"].value == 2.5
    assert log.given.amounts["water_kg"].sd == 0.02


def test_cells_in_another_unit_are_converted_and_told(tmp_path):
    heats = ["20", "25", "86 F", "35", "40", "45"]
    log = read_log(written(tmp_path, f"{HEAD}time_s,temperature_c\n{rows(range(0, 60, 10), heats)}"))
    assert log.reading_c == pytest.approx([20, 25, 30, 35, 40, 45])
    assert "mixed units" in log.notes[0]
    assert "line 5" in log.notes[0]


def test_a_number_that_only_fits_in_another_unit_is_left_out_and_told(tmp_path):
    heats = ["50", "52", "54", "132.8", "58", "60", "62", "64"]
    log = read_log(written(tmp_path, f"{HEAD}time_min,temperature_c\n{rows(range(8), heats)}"))
    assert 56 not in log.reading_c
    assert len(log.reading_c) == 7
    assert any("looks like degrees F" in note and ":6:" in note for note in log.notes)


def test_clock_times_run_over_midnight(tmp_path):
    times = ["23:58", "23:59", "0:00", "0:01:30", "0:02", "0:03"]
    log = read_log(written(tmp_path, f"{HEAD}time,temperature_c\n{rows(times, range(20, 26))}"))
    assert log.time_s.tolist() == [0, 60, 120, 210, 240, 300]


def test_missing_readings_are_left_out_and_counted(tmp_path):
    heats = ["20", "", "24", "26", "28", "30", "32"]
    log = read_log(written(tmp_path, f"{HEAD}time_min,temperature_c\n{rows(range(7), heats)}"))
    assert len(log.reading_c) == 6
    assert log.notes == ("1 of 7 rows have no temperature and are left out",)


def test_columns_of_sun_spot_and_irradiance(tmp_path):
    text = (
        HEAD
        + "time_min,temperature_c,sun,spot,dni_w_m2\n"
        + "".join(
            f"{k},{20 + k},{'off' if k > 4 else 'on'},{'wall' if k % 2 else 'water'},{800 + k}\n" for k in range(8)
        )
    )
    log = read_log(written(tmp_path, text))
    assert log.is_sun_on.tolist() == [True] * 5 + [False] * 3
    assert log.is_wall.tolist() == [False, True] * 4
    assert log.dni_w_m2[-1] == 807


def test_what_is_given_beside_the_file_wins(tmp_path):
    path = written(tmp_path, f"{HEAD}time_min,temperature_c\n{rows(range(6), range(20, 26))}")
    log = read_log(path, given={"water_kg": (3.0, 0.1), "thermometer": "infrared", "emissivity": "0.9 ± 0.02"})
    assert log.given.amounts["water_kg"].value == 3.0
    assert log.given.amounts["emissivity"].sd == 0.02


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time_min,heat\n1,2\n", "heat is not a known column"),
        ("time_min,dni_w_m2\n1,2\n", "has no column with a temperature with its unit"),
        ("temperature_c,sun\n1,on\n", "has no column with a time"),
        ("time_s,time_min,temperature_c\n1,1,1\n", "has several columns with a time"),
        ("time_min,temperature_c\n1,20\n1,21\n", "is not later than the row before"),
        ("time_min,temperature_c\n1,20\n2,hot\n", "hot must be a number, or empty"),
        ("time_min,temperature_c\n1,20\n2,21\n", "has 2 readings; 6 at least are needed"),
        ("# water = 3\ntime_min,temperature_c\n1,20\n", "did you mean water_kg"),
        ("# water_kg = heavy\ntime_min,temperature_c\n1,20\n", "water_kg = heavy must be a number"),
        ("# emissivity = 1.2\ntime_min,temperature_c\n1,20\n", "emissivity = 1.2 must be a number >= 0.02 and <= 1"),
        ("# thermometer = red\ntime_min,temperature_c\n1,20\n", "must be contact or infrared"),
        ("time_min,temperature_c,sun\n1,20,maybe\n", "must be on or 1"),
    ],
)
def test_faults_are_told_with_their_line(tmp_path, text, said):
    with pytest.raises(InputError) as raised:
        read_log(written(tmp_path, text))
    assert said in str(raised.value)
    assert "log.csv" in str(raised.value)


def test_all_faults_come_at_once(tmp_path):
    with pytest.raises(InputError) as raised:
        read_log(written(tmp_path, "# water_kg = -1\ntime_min,temperature_c\n1,x\n0,20\n2,3000\n"))
    assert len(raised.value.faults) >= 3


def test_the_step_of_the_display_is_seen(tmp_path):
    log = read_log(written(tmp_path, f"{HEAD}time_min,temperature_c\n{rows(range(6), [20, 22, 23, 25, 27, 28])}"))
    assert log.step_c == 1.0
    fine = read_log(written(tmp_path, f"{HEAD}time_min,temperature_c\n{rows(range(6), np.linspace(20, 28.123, 6))}"))
    assert fine.step_c == 0.0

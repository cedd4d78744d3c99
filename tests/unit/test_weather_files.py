"""Readers of hourly weather, on files made up here: no real place and no measured value is in them.

What a value must become follows from how the file was made. "Planted" names the fault under which a check was seen to fail.
"""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest

from pilesim.base.errors import ScenarioError
from pilesim.inputs.hourly import LONGEST_GAP
from pilesim.inputs.weather_files import read_weather

HOURS = 48
EPW_HEAD = """LOCATION,Invented Field,XX,Nowhere,MADEUP,000000,45.00,-100.00,-7.0,1500.0
DESIGN CONDITIONS,0
TYPICAL/EXTREME PERIODS,0
GROUND TEMPERATURES,0
HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0
COMMENTS 1,all values are invented
COMMENTS 2,
DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31
"""
TMY3_HEAD = "000000,\"INVENTED FIELD\",XX,-7.0,45.000,-100.000,1500\n"
TMY3_NAMES = ["Date (MM/DD/YYYY)", "Time (HH:MM)", "GHI (W/m^2)", "DNI (W/m^2)", "DHI (W/m^2)", "OpqCld (tenths)",
              "Dry-bulb (C)", "RHum (%)", "Pressure (mbar)", "Wdir (degrees)", "Wspd (m/s)", "Lprecip depth (mm)"]
CSV_HEAD = """# invented weather
# latitude: 45 deg
# longitude: -100 deg
# elevation: 1500 m
# utc_offset: -7 hour
time,air_temperature [degF],relative_humidity [percent],wind_speed [mile/hour],global_sun [W/m2],rain [inch/hour]
"""


def degrees(k: int) -> float:
    """Invented course of the air, degC."""
    return round(-5.0 + 6.0 * math.sin(2.0 * math.pi * k / 24.0), 1)


def epw_row(k: int, year: int = 2010, **changed: object) -> str:
    day, hour = divmod(k, 24)
    date = datetime.date(2010, 1, 1) + datetime.timedelta(days=day)
    sun = k % 24
    value = {6: degrees(k), 7: -8.0, 8: 50 + k % 40, 9: 84000, 12: 250, 13: 10 * sun, 14: 5 * sun, 15: 4 * sun, 20: 90,
             21: 2.5, 23: 4, 33: 1.2, 34: 1.0}
    fields = [str(year), str(date.month), str(date.day), str(hour + 1), "0", "A7"]
    fields += [str(value.get(n, 0)) for n in range(6, 35)]
    for name, text in changed.items():
        fields[int(name.removeprefix("field"))] = str(text)
    return ",".join(fields)


def epw(hours: int = HOURS, head: str = EPW_HEAD, **rows: str) -> str:
    """An EPW text; `rowN` replaces row N."""
    lines = [rows.get(f"row{k}", epw_row(k)) for k in range(hours)]
    return head + "\n".join(line for line in lines if line) + "\n"


def tmy3_row(k: int, **changed: object) -> str:
    day, hour = divmod(k, 24)
    date = datetime.date(2010, 1, 1) + datetime.timedelta(days=day)
    sun = k % 24
    fields = [date.strftime("%m/%d/%Y"), f"{hour + 1:02d}:00", 10 * sun, 5 * sun, 4 * sun, 4, degrees(k), 50 + k % 40, 840,
              90, 2.5, -9900]
    for name, text in changed.items():
        fields[int(name.removeprefix("field"))] = text
    return ",".join(map(str, fields))


def tmy3(head: str = TMY3_HEAD, names: list[str] = TMY3_NAMES, **rows: str) -> str:
    return head + ",".join(names) + "\n" + "\n".join(rows.get(f"row{k}", tmy3_row(k)) for k in range(HOURS)) + "\n"


def csv_row(k: int, *cells: object, step: int = 60) -> str:
    moment = datetime.datetime(2026, 1, 1) + datetime.timedelta(minutes=step * k)
    usual = (round(32.0 + 1.8 * degrees(k), 2), 50 + k % 40, 5, 10 * (k % 24), 0.04)
    return ",".join(map(str, (moment.strftime("%Y-%m-%d %H:%M"), *(cells or usual))))


def csv(head: str = CSV_HEAD, step: int = 60, **rows: str) -> str:
    lines = [rows.get(f"row{k}", csv_row(k, step=step)) for k in range(HOURS)]
    return head + "\n".join(line for line in lines if line) + "\n"


@pytest.fixture
def read(tmp_path):
    def written(text: str | bytes, name: str = "made_up.epw"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_weather(path)

    return written


def temperatures() -> np.ndarray:
    return np.array([degrees(k) for k in range(HOURS)]) + 273.15


def test_epw_values_become_si(read):
    """Every column in SI, the label at the end of its hour. Planted: pressure in hPa; labels at the start of the hour."""
    w = read(epw())
    assert w.start == datetime.datetime(2010, 1, 1, 1) and not w.typical and w.notes == ()
    assert (w.latitude, w.longitude) == pytest.approx((math.radians(45), math.radians(-100)))
    assert (w.elevation, w.utc_offset) == (1500.0, -25200.0)
    assert w.air_temperature == pytest.approx(temperatures(), abs=1e-9)
    assert w.relative_humidity == pytest.approx([(50 + k % 40) / 100 for k in range(HOURS)])
    assert w.global_sun == pytest.approx([10.0 * (k % 24) for k in range(HOURS)])
    assert (w.pressure[0], w.wind_speed[0], w.sky_longwave[0], w.cloud[0]) == pytest.approx((84000.0, 2.5, 250.0, 0.4))
    assert w.wind_direction[3] == pytest.approx(math.pi / 2)
    assert w.rain[5] == pytest.approx(1.2 / 3600.0)


def test_rain_of_several_hours_is_spread_over_them(read):
    """EPW rain comes with the hours it stands for. Planted: the hours ignored."""
    assert read(epw(row4=epw_row(4, field34=6.0))).rain[4] == pytest.approx(0.2 / 3600.0)


def test_tmy3_says_the_same_as_epw(read):
    """The same made-up weather in both layouts. Planted: millibar taken as pascal; 24:00 put on the same day."""
    one, other = read(epw()), read(tmy3(), "made_up.csv")
    assert one.start == other.start
    for name in ("air_temperature", "relative_humidity", "wind_speed", "wind_direction", "pressure", "global_sun", "beam_sun",
                 "diffuse_sun", "cloud"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-12), name
    assert (one.latitude, one.longitude, one.elevation, one.utc_offset) == (
        other.latitude, other.longitude, other.elevation, other.utc_offset)
    assert other.rain is None and other.sky_longwave is None


def test_csv_takes_any_unit_of_the_right_kind(read):
    """degF, mile/hour, inch/hour by their definitions. Planted: offset of degF left out; rain as metres of water."""
    w = read(csv(), "made_up.csv")
    assert w.air_temperature == pytest.approx(temperatures(), abs=0.01)
    assert w.wind_speed == pytest.approx(np.full(HOURS, 5 * 1609.344 / 3600.0))
    assert w.rain == pytest.approx(np.full(HOURS, 0.04 * 25.4 / 3600.0), rel=1e-12)
    assert w.latitude == pytest.approx(math.radians(45)) and w.utc_offset == -25200.0


def test_months_of_several_years_are_a_typical_year(read):
    """Years that jump back make a typical year of one year; a turn of the year does not. Planted: any change of year."""
    text = epw(row24=epw_row(24, year=1987), **{f"row{k}": epw_row(k, year=1987) for k in range(25, HOURS)})
    w = read(text)
    assert w.typical and w.start == datetime.datetime(2001, 1, 1, 1)
    rows = {f"row{k}": csv_row(k) for k in range(HOURS)}
    assert not read(csv(**rows), "made_up.csv").typical
    turn = {f"row{k}": epw_row(k).replace("2010,1,1,", "2010,12,31,").replace("2010,1,2,", "2011,1,1,") for k in range(HOURS)}
    w = read(epw(**turn))
    assert not w.typical and w.start == datetime.datetime(2010, 12, 31, 1)


def missing(first: int, count: int, field: int = 6, code: object = 99.9) -> dict[str, str]:
    return {f"row{k}": epw_row(k, **{f"field{field}": code}) for k in range(first, first + count)}


def test_gaps_up_to_six_hours_are_filled_by_lines(read):
    """Exact: straight between the neighbours, and said in a note. Planted: filled with the value before."""
    w = read(epw(**missing(10, LONGEST_GAP)))
    before, after = 273.15 + degrees(9), 273.15 + degrees(16)
    assert w.air_temperature[10:16] == pytest.approx(before + (after - before) * np.arange(1, 7) / 7.0)
    assert w.notes == ("air_temperature: 6 missing hours in 1 gap filled by straight lines.",)


def test_lines_that_are_not_there_are_gaps(read):
    """Rows left out count as missing in every column. Planted: rows closed up."""
    w = read(epw(**{f"row{k}": "" for k in range(20, 24)}))
    assert w.air_temperature.size == HOURS and len(w.notes) == 11
    assert w.air_temperature[25] == pytest.approx(273.15 + degrees(25))


def test_longer_gaps_are_refused_with_their_dates(read):
    """Planted: a gap of seven hours let through; the first hour after the gap named instead of the last within."""
    with pytest.raises(ScenarioError) as caught:
        read(epw(**missing(10, 7)))
    assert str(caught.value) == (
        "made_up.epw, air_temperature: expected gaps of at most 6 hours. Values are missing from 2010-01-01 11:00 to "
        "2010-01-01 17:00 (7 hours): fill them from a station nearby, or take another year.")


def test_rain_with_a_long_gap_is_left_out_and_said(read):
    """Many files have rain for some hours only. Planted: filled with lines through the gap; values of the rest checked."""
    w = read(epw(row40=epw_row(40, field33=900), **missing(10, 7, 33, 999.0)))
    assert w.rain is None
    assert w.notes == ("rain is left out: 7 of 48 hours are missing (from 2010-01-01 11:00 to 2010-01-01 17:00 (7 hours)).",)


def test_a_column_that_is_missing_everywhere_is_none(read):
    """Planted: codes taken as values."""
    w = read(epw(**missing(0, HOURS, 12, 9999)))
    assert w.sky_longwave is None and w.notes == ()


def test_direction_turns_the_shorter_way_over_a_gap(read):
    """From 350 over north to 10 degrees. Planted: straight lines of degrees (through south)."""
    rows = missing(10, 3, 20, 999) | {"row9": epw_row(9, field20=350), "row13": epw_row(13, field20=10)}
    w = read(epw(**rows))
    assert np.degrees(w.wind_direction[9:14]) == pytest.approx([350, 355, 0, 5, 10], abs=1e-9)


def test_small_negative_sun_of_instruments_is_none(read):
    """Planted: kept below zero."""
    assert read(epw(row2=epw_row(2, field13=-3))).global_sun[2] == 0.0


def test_old_files_in_latin_letters_are_read(read):
    """Names of places may be Latin-1. Planted: UTF-8 only."""
    assert read(epw().replace("Invented Field", "Erfundenes Städtchen").encode("latin-1")).air_temperature.size == HOURS


LONG = "made_up.epw, line 14"    # row 5
BROKEN = {
    "first line short": (epw(head="LOCATION,x\n" + EPW_HEAD.split("\n", 1)[1]), ".epw", ("line 1 = 2 fields", "10 fields")),
    "latitude that is text": (epw(head=EPW_HEAD.replace("45.00", "north")), ".epw", ("line 1 = 'north'", "fields 7 to 10")),
    "latitude too large": (epw(head=EPW_HEAD.replace("45.00", "145")), ".epw", ("line 1 = latitude 145", "-90 to 90")),
    "no head": (epw(head=""), ".epw", ("line 1", "LOCATION")),
    "short head": (epw(head=EPW_HEAD.replace("COMMENTS 2,\n", "")), ".epw", ("line 8", "PERIODS", "eight lines")),
    "four values per hour": (epw(head=EPW_HEAD.replace("PERIODS,1,1", "PERIODS,1,4")), ".epw", ("4 values per", "hourly")),
    "text for a number": (epw(row5=epw_row(5, field6="cold")), ".epw", (LONG, "field 7 = 'cold'", "a number")),
    "not a number": (epw(row5=epw_row(5, field6="nan")), ".epw", (LONG, "'nan'")),
    "row cut off": (epw(row5=epw_row(5)[:30]), ".epw", (LONG, "fields")),
    "row too long": (epw(row5=epw_row(5) + ",1,2"), ".epw", (LONG, "37 fields")),
    "impossible day": (epw(row5=epw_row(5).replace("2010,1,1,", "2010,2,30,")), ".epw", (LONG, "2010-02-30", "calendar")),
    "impossible hour": (epw(row5=epw_row(5, field3=25)), ".epw", (LONG, "hour 25", "hours 1 to 24")),
    "hours from 0": (epw(row5=epw_row(5, field3=0)), ".epw", (LONG, "hour 0", "labelled by its end")),
    "year of two digits": (epw(row5=epw_row(5, field0=10)), ".epw", ("10-01-01", "1850 to 2200")),
    "month in words": (epw(row5=epw_row(5, field1="Jan")), ".epw", (LONG, "whole numbers")),
    "quotation mark": (epw(row5=epw_row(5, field5='"A')), ".epw", ("made_up.epw",)),
    "lines within quotation marks": (
        epw(row5=epw_row(5, field5='"A'), row7=epw_row(7, field5='A"')), ".epw", ("rows for the reader", "48 rows")),
    "CSV quotation mark": (csv(row7='2026-01-01 07:00,"20,50,5,0,0'), ".csv", ("line 14, air_temperature = '\"20'",)),
    "CSV far years": (csv(row7="9999-01-01 07:00,20,50,5,0,0"), ".csv", ("line 14", "1850 to 2200")),
    "hour twice": (epw(row6=epw_row(5)), ".epw", ("line 15 = 2010-01-01 06:00", "after 2010-01-01 06:00", "come twice")),
    "too hot": (epw(row5=epw_row(5, field6=71)), ".epw", (LONG, "air_temperature = 71", "-90 to 60 degC")),
    "kelvin": (epw(**{f"row{k}": epw_row(k, field6=90) for k in range(HOURS)}), ".epw", ("line 9", "48 values are outside")),
    "pressure in hPa": (epw(row5=epw_row(5, field9=840)), ".epw", (LONG, "pressure = 840", "30000 to 120000 Pa")),
    "too few hours": (epw(hours=12), ".epw", ("12 hours", "at least 24")),
    "29 February of a typical year": (
        epw(row24=epw_row(24, year=1999).replace("1999,1,2", "1996,2,29")), ".epw", ("line 33", "no 29 February")),
    "no wind": (epw(**missing(0, HOURS, 21, 999)), ".epw", ("wind_speed = no value", "a column of wind_speed")),
    "empty": ("", ".epw", ("It is empty",)),
    "binary": (b"PK\x00\x01", ".epw", ("not a text file",)),
    "TMY3 without humidity": (tmy3(names=[n.replace("RHum (%)", "RH") for n in TMY3_NAMES]), ".csv", ("line 2", "RHum (%)")),
    "TMY3 half hour": (tmy3(row3=tmy3_row(3, field1="03:30")), ".csv", ("line 6", "03:30", "full hour")),
    "TMY3 day first": (tmy3(row3=tmy3_row(3, field0="13/01/2010")), ".csv", ("line 6", "2010-13-01", "calendar")),
    "TMY3 text": (tmy3(row3=tmy3_row(3, field6="x")), ".csv", ("line 6, field 7 = 'x'",)),
    "TMY3 row short": (tmy3(row3="01/01/2010,04:00"), ".csv", ("line 6 = 2 fields", "12 fields")),
    "TMY3 head short": (tmy3(head="0,1\n"), ".csv", ("line 1 = 2 fields", "7 fields")),
    "CSV name unknown": (csv(head=CSV_HEAD.replace("wind_speed", "windspeed")), ".csv", ("= 'windspeed", "'wind_speed'?")),
    "CSV without a unit": (csv(head=CSV_HEAD.replace(" [percent]", "")), ".csv", ("a unit", "humidity [percent]")),
    "CSV with a wrong unit": (csv(head=CSV_HEAD.replace("[degF]", "[m/s]")), ".csv", ("line 6, air_temperature", "'K'")),
    "CSV column twice": (csv(head=CSV_HEAD.replace("global_sun [W/m2]", "wind_speed [m/s]")), ".csv", ("wind_speed", "once")),
    "CSV without wind": (csv(head=CSV_HEAD.replace("wind_speed [mile/hour]", "cloud [percent]")), ".csv", ("s wind_speed",)),
    "CSV bad latitude": (csv(head=CSV_HEAD.replace("45 deg", "45")), ".csv", ("line 2, latitude",)),
    "CSV time": (csv(row7="1 Jan,20,50,5,0,0"), ".csv", ("line 14 = '1 Jan'", "2026-01-31 05:00")),
    "CSV with a zone": (csv(row7="2026-01-01 07:00+01:00,20,50,5,0,0"), ".csv", ("line 14", "utc_offset")),
    "CSV half hours": (csv(step=30), ".csv", ("line 8 = 2026-01-01 00:30", "full hour", "Average")),
    "CSV cell": (csv(row7=csv_row(7, 20, "wet", 5, 0, 0)), ".csv", ("line 14, relative_humidity = 'wet'", "nothing where")),
    "CSV infinite": (csv(row7=csv_row(7, "inf", 50, 5, 0, 0)), ".csv", ("line 14, air_temperature = 'inf'",)),
    "CSV decimal comma": (csv(row7="2026-01-01 07:00,20,5,50,5,0,0"), ".csv", ("line 14 = 7 fields", "6 fields")),
    "CSV remarks only": ("# nothing\n", ".csv", ("only remarks",)),
    "CSV names only": (CSV_HEAD, ".csv", ("There are none",)),
    "unknown ending": ("time,x\n1,2\n", ".txt", (".txt", "a weather file")),
}


@pytest.mark.parametrize("name", list(BROKEN))
def test_what_is_wrong_is_said_in_one_line(name, read):
    """Where, what was given, what is allowed, what to do. Planted, one by one: the check of each row left out."""
    text, ending, words = BROKEN[name]
    with pytest.raises(ScenarioError) as caught:
        read(text, "made_up" + ending)
    said = str(caught.value)
    assert "\n" not in said and said.startswith("made_up" + ending)
    for word in words:
        assert word in said, said


def test_no_accident_ends_in_a_traceback(read):
    """Six hundred files with one accident each (a cut, a doubled piece, a strange character, a swapped field): read, or
    refused in one line. Planted: the library's own errors let through.
    """
    random = np.random.default_rng(3)
    refused = 0
    for text, ending in ((epw(hours=30), ".epw"), (tmy3(), ".csv"), (csv(), ".csv")):
        for _ in range(200):
            at, size = int(random.integers(len(text))), int(random.integers(1, 40))
            strange = ['"', ",", "\n", "-", "nan", "1e999", "é", "\t", ":", "#", "0", "9999", "'", text[at: at + size]]
            piece = str(random.choice(strange))
            try:
                read(text[:at] + piece + text[at + int(random.choice([0, size])):], "made_up" + ending)
            except ScenarioError as why:
                refused += 1
                assert "\n" not in str(why)
    assert refused > 100


def test_files_that_are_not_there(tmp_path):
    """Planted: an operating system's error let through."""
    for path, words in ((tmp_path / "none.epw", "There is no file"), (tmp_path, "not a regular file")):
        with pytest.raises(ScenarioError, match=words):
            read_weather(path)


def test_an_empty_cell_of_a_csv_is_missing(read):
    """Planted: empty read as zero."""
    w = read(csv(row7=csv_row(7, 20, "", 5, "", 0)), "made_up.csv")
    assert w.relative_humidity[7] == pytest.approx(0.57) and w.global_sun[7] == pytest.approx(70.0)
    assert len(w.notes) == 2

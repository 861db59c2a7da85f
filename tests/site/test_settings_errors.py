"""Every mistake in a settings file is named by line, table and key, with the nearest word that is known."""

from __future__ import annotations

import pytest

from takeup.errors import SettingsError
from takeup.site.settings import read_settings

SITE = '[site]\nname = "Works"\ntime_zone = "Europe/Lisbon"\n'
TAPE = '[source.tape]\nfeed = "elongation_readings"\nfiles = ["tape_*.csv"]\n'
WHO = 'reason = "tight casing", by = "steward", on = 2026-01-05, review_by = 2027-01-05'


def value(given: str) -> str:
    return f"conveyor_percent = {{ value = {given}, {WHO} }}\n"


#: the file's text, line, table and key, and parts of what is said
CASES = {
    "table misspelt": (SITE + "[limit]\n", 4, "[limit]", ["'limit'", "did you mean 'limits'?"]),
    "table unknown": (SITE + "[zebra]\n", 4, "[zebra]", ["'zebra'", "known are", "limits"]),
    "site misspelt": ("[sit]\n", 1, "[sit]", ["did you mean 'site'?"]),
    "site key misspelt": (SITE + "settle_second = 3\n", 4, "[site] settle_second", ["'settle_seconds'?"]),
    "site key of the wrong kind": (
        SITE + "settle_seconds = 'x'\n",
        4,
        "[site] settle_seconds",
        ["'x'", "number"],
    ),
    "negative seconds": (SITE + "settle_seconds = -1\n", 4, "[site] settle_seconds", ["-1", "below 0"]),
    "no number": (SITE + "settle_seconds = nan\n", 4, "[site] settle_seconds", ["nan", "number"]),
    "name missing": ('[site]\ntime_zone = "Europe/Lisbon"\n', 1, "[site]", ["name is missing"]),
    "site missing": ("", None, "[site]", ["name", "missing"]),
    "name blank": ('[site]\nname = " "\ntime_zone = "Etc/UTC"\n', 2, "[site] name", ["name is blank"]),
    "name no text": ("[site]\nname = 3\n", 2, "[site] name", ["3", "not a text"]),
    "zone unknown": (SITE.replace("Lisbon", "Lissabon"), 3, "[site] time_zone", ["Europe/Lissabon", "IANA"]),
    "zone a path": (SITE.replace("Europe/Lisbon", "../../etc/passwd"), 3, "[site] time_zone", ["IANA"]),
    "clock": (SITE + 'tell_at = "25:00"\n', 4, "[site] tell_at", ["25:00", "02:30"]),
    "clock without quotes": (SITE + "tell_at = 02:30:00\n", 4, "[site] tell_at", ["02:30"]),
    "prefix no file name": (SITE + 'order_prefix = "../C"\n', 4, "[site] order_prefix", ["../C", "letters"]),
    "site no table": ("site = 3\n", 1, "site", ["3", "table"]),
    "limits no table": ("limits = 3\n" + SITE, 1, "limits", ["3", "table"]),
    "override key misspelt": (
        SITE + "[limits]\n" + value("2.0").replace("conveyor", "conveyer"),
        5,
        "[limits] conveyer_percent",
        ["did you mean 'conveyor_percent'?"],
    ),
    "one value for the site, given to a strand": (
        SITE + '[strand."EL-14-A".forecast]\nphase_ratio = { value = 2.0, ' + WHO + " }\n",
        5,
        "[strand.EL-14-A.forecast] phase_ratio",
        ["cannot be set for a strand", "the whole site", "[forecast]"],
    ),
    "one value for the machine, given to a strand": (
        SITE + '[strand."EL-14-A".measuring]\nmeter_stuck_days = { value = 9, ' + WHO + " }\n",
        5,
        "[strand.EL-14-A.measuring] meter_stuck_days",
        ["cannot be set for a strand", "the whole machine", "[machine.NAME.measuring]"],
    ),
    "override bare": (
        SITE + "[limits]\nconveyor_percent = 2.0\n",
        5,
        "[limits] conveyor_percent",
        ["2.0", "whole"],
    ),
    "override without review": (
        SITE + "[limits]\n" + value("2.0").replace(", review_by = 2027-01-05", ""),
        5,
        "[limits] conveyor_percent",
        ["whole override"],
    ),
    "override of the wrong kind": (
        SITE + "[limits]\n" + value('"2"'),
        5,
        "[limits] conveyor_percent",
        ["number"],
    ),
    "override true": (
        SITE + "[limits]\n" + value("true"),
        5,
        "[limits] conveyor_percent",
        ["True", "number"],
    ),
    "override out of range": (
        SITE + "[limits]\n" + value("99"),
        5,
        "[limits] conveyor_percent",
        ["99", "outside"],
    ),
    "override no number": (SITE + "[limits]\n" + value("nan"), 5, "[limits] conveyor_percent", ["nan"]),
    "override infinite": (
        SITE + "[forecast]\n" + value("inf").replace("conveyor_percent", "run_in_hours"),
        5,
        "[forecast] run_in_hours",
        ["inf"],
    ),
    "override day as text": (
        SITE + "[limits]\n" + value("2.0").replace("on = 2026-01-05", 'on = "5 January"'),
        5,
        "[limits] conveyor_percent",
        ["5 January", "2026-01-31"],
    ),
    "override by nobody": (
        SITE + "[limits]\n" + value("2.0").replace('by = "steward"', 'by = ""'),
        5,
        "[limits] conveyor_percent",
        ["by is blank"],
    ),
    "behind a comment": (
        SITE + "[limits] # ours\n" + value("99"),
        5,
        "[limits] conveyor_percent",
        ["99", "outside"],
    ),
    "machine section misspelt": (
        SITE + '[machine."EL-11".limit]\n' + value("2.0"),
        4,
        "[machine.EL-11.limit]",
        ["did you mean 'limits'?"],
    ),
    "machine key": (
        SITE + '[machine."EL.11".limits]\n' + value("99"),
        5,
        "[machine.EL.11.limits] conveyor_percent",
        ["99", "outside"],
    ),
    "strand key": (
        SITE + "[strand . 'EL-11 A' . limits]\n" + value("99"),
        5,
        "[strand.EL-11 A.limits] conveyor_percent",
        ["outside"],
    ),
    "dotted": (
        SITE + "[machine]\n" + f'"EL-11".limits.{value("99")}',
        5,
        "[machine.EL-11.limits] conveyor_percent",
        ["outside"],
    ),
    "machine no table": (SITE + '[machine]\n"EL-11" = 3\n', 5, "[machine] EL-11", ["3", "table"]),
    "machine section no table": (
        SITE + '[machine."EL-11"]\nlimits = 3\n',
        5,
        "[machine.EL-11] limits",
        ["table"],
    ),
    "source without feed": (
        SITE + '[source.tape]\nfiles = ["t*.csv"]\n',
        4,
        "[source.tape]",
        ["feed must be given"],
    ),
    "source feed misspelt": (
        SITE + TAPE.replace("elongation_readings", "elongation_reading"),
        5,
        "[source.tape] feed",
        ["did you mean 'elongation_readings'?"],
    ),
    "source key misspelt": (
        SITE + TAPE + 'delimeter = ";"\n',
        7,
        "[source.tape] delimeter",
        ["'delimiter'?"],
    ),
    "source files no list": (
        SITE + TAPE.replace('["tape_*.csv"]', '"tape_*.csv"'),
        6,
        "[source.tape] files",
        ["list of texts"],
    ),
    "source no table": (SITE + "[source]\ntape = 3\n", 5, "[source] tape", ["3", "table"]),
    "delimiter unknown": (SITE + TAPE + 'delimiter = "::"\n', 7, "[source.tape] delimiter", ["'::'", "';'"]),
    "delimiter no text": (SITE + TAPE + "delimiter = 3\n", 7, "[source.tape] delimiter", ["3", "text"]),
    "decimal twice": (
        SITE + TAPE + 'decimal = ","\ngrouping = ","\n',
        8,
        "[source.tape] grouping",
        ["decimal mark"],
    ),
    "date order unknown": (SITE + TAPE + 'date_order = "ydm"\n', 7, "[source.tape] date_order", ["dmy"]),
    "encoding unknown": (SITE + TAPE + 'encoding = "utf-9"\n', 7, "[source.tape] encoding", ["utf-9"]),
    "source zone unknown": (SITE + TAPE + 'time_zone = "Mars"\n', 7, "[source.tape] time_zone", ["Mars"]),
    "header to no column": (
        SITE + TAPE + 'headers = { "Laenge" = "lenght_mm" }\n',
        7,
        "[source.tape] headers",
        ["'lenght_mm'", "'length_mm'?"],
    ),
    "headers in a table of their own": (
        SITE + TAPE + "[source.tape.headers]\nLaenge = 'lenght_mm'\n",
        7,
        "[source.tape] headers",
        ["'length_mm'?"],
    ),
    "headers no table": (SITE + TAPE + "headers = 3\n", 7, "[source.tape] headers", ["3", "table"]),
    "header to a number": (SITE + TAPE + "headers = { a = 3 }\n", 7, "[source.tape] headers", ["text"]),
    "words no table": (SITE + TAPE + "words = { occasion = 3 }\n", 7, "[source.tape] words", ["table"]),
    "unit of another kind": (
        SITE + TAPE + 'units = { length_mm = "degF" }\n',
        7,
        "[source.tape] units",
        ["length_mm"],
    ),
    "unit unknown": (
        SITE + TAPE + 'units = { length_mm = "furlong" }\n',
        7,
        "[source.tape] units",
        ["furlong"],
    ),
    "word to no word": (
        SITE + TAPE + 'words = { occasion = { "R" = "rutine" } }\n',
        7,
        "[source.tape] words",
        ["rutine", "routine"],
    ),
    "stamp without a day": (
        SITE + TAPE + "stamp_pattern = '(?P<year>\\d{4})'\n",
        7,
        "[source.tape] stamp_pattern",
        ["day"],
    ),
    "stamp no pattern": (
        SITE + TAPE + "stamp_pattern = '('\n",
        7,
        "[source.tape] stamp_pattern",
        ["expression"],
    ),
    "no TOML": (SITE + "name = \n", None, "takeup.toml line 4", ["TOML"]),
    "no end": (SITE + 'tell_at = """02:30', None, "takeup.toml line 4", ["TOML"]),
    "key twice": (SITE + 'name = "x"\n', None, "takeup.toml line 4", ["TOML"]),
}


@pytest.mark.parametrize(("text", "line", "place", "says"), CASES.values(), ids=CASES)
def test_a_mistake_is_named_by_line_table_and_key(text, line, place, says):
    with pytest.raises(SettingsError) as caught:
        read_settings(text)
    error = caught.value
    if line is not None:
        assert f"line {line}," in error.where
    assert error.where.endswith(place)
    for part in says:
        assert part in str(error)
    assert error.exit_code == 2


def test_what_is_right_is_read():
    settings = read_settings(
        SITE
        + 'order_prefix = "K"\ntell_at = "04:05"\nsettle_seconds = 0\nstale_after_days = 3\n'
        + TAPE
        + 'delimiter = ";"\nheaders = { "Laenge" = "length_mm" }\nunits = { length_mm = "cm" }\n'
        + "[limits]\n"
        + value("2")
    )
    assert (settings.name, settings.time_zone, settings.settle_seconds) == ("Works", "Europe/Lisbon", 0.0)
    assert settings.tell_at.isoformat() == "04:05:00"
    assert settings.stale_after_days == 3
    assert settings.sources[0].name == "tape"
    assert settings.orders.value("prefix") == "K"
    assert settings.layers["limits"].value("conveyor_percent") == 2.0

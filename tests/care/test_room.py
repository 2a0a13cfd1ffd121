"""A tank as it was measured, and a fish room: read from a file, ranked for one fish."""

import errno
from pathlib import Path

import numpy as np
import pytest
from care_tables import GOOD, TABLE, WORM
from hypothesis import given, settings
from hypothesis import strategies as st

from idkey import care_for
from idkey.care.room import check_room, check_tank, read_room
from idkey.care.tank import Companion, Tank, TankError
from idkey.errors import IdkeyError, TableError

ROOM = Path(__file__).parents[2] / "notebooks" / "fish_room.csv"
HEADER = "name,length_cm,width_cm,height_cm,fill_cm,temperature_c,companions\n"
TANKS = [
    Tank.of({**GOOD, "name": name, **changes})
    for name, changes in {
        "Good": {},
        "Unread": {"oxygen_mg_l": None},
        "Two unread": {"oxygen_mg_l": None, "gh_dgh": None},
        "Cool": {"temperature_c": 25},
        "Cold": {"temperature_c": 18},
        "Cold and hard": {"temperature_c": 25, "gh_dgh": 7},
    }.items()
]


def write(tmp_path: Path, text: str | bytes) -> Path:
    file = tmp_path / "room.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def test_fewest_failures_then_fewest_open_then_least_far_off():
    room = check_room(WORM, TANKS[::-1])
    assert [c.tank for c in room.checks] == TANKS
    assert [c.tank.name for c in room.fitting] == ["Good"]
    frame = room.to_frame()
    assert frame["fits"].tolist() == [True] + [False] * 5
    assert frame["fails"].tolist() == [0, 0, 0, 1, 1, 2]
    assert frame["open"].tolist() == [0, 1, 2, 0, 0, 0]
    assert frame["verdict"][1] == "Can't be said yet. Measure: oxygen. Nothing that was measured is wrong."
    assert frame["verdict"][3] == "Fails: temperature, 1 °C (1.8 °F) too cool."
    failing = check_room(WORM, TANKS[3:])
    assert "none can be said to fit as it is" in repr(failing)
    assert "fits" not in failing._repr_html_().split("</style>")[1]


@settings(max_examples=15)
@given(st.permutations(TANKS), st.sampled_from([("worm",), ("worm", "stripe"), ("ghost",)]))
def test_the_order_of_tanks_changes_nothing(tanks, names):
    same_name = Tank.of({**GOOD, "length_cm": 110})
    care = care_for(TABLE, *names)
    assert check_room(care, [same_name, *tanks]).checks == check_room(care, [*TANKS, same_name]).checks


def test_a_tank_and_a_room_can_be_printed(tmp_path):
    room = check_room(WORM, TANKS)
    room.save(tmp_path / "room.pdf")
    assert (tmp_path / "room.pdf").read_bytes()[:5] == b"%PDF-"
    for thing in (room, room.checks[0]):
        thing.save(tmp_path / "page.html", overwrite=True)
        page = (tmp_path / "page.html").read_text(encoding="utf-8")
        assert "Un-ionised ammonia" in page
        assert "<details" not in page


def test_what_is_no_sheet_and_no_tank_is_refused():
    for asked, match in (
        (lambda: check_room(TABLE, TANKS), "care: TraitTable: give a care sheet, such as care_for"),
        (lambda: check_tank("worm", GOOD), "care: 'worm': give a care sheet, such as care_for"),
        (lambda: check_tank(WORM, 3), "tank: 3: give a Tank or a mapping"),
        (lambda: check_room(WORM, "fish_room.csv"), "tanks: 'fish_room.csv': give a list or the like"),
        (lambda: Companion("x", -3), "companion 'x', length_mm -3: give a number, 1 to 3000 mm"),
        (lambda: Companion(" "), "give a name"),
    ):
        with pytest.raises(IdkeyError, match=match):
            asked()


def test_a_file_reads_as_tanks(tmp_path):
    text = HEADER + '"Rack, left",80,40,40,36,26.5,tetra:30:6|snail\n\n  Bare ,60,30,30,,,\n'
    for start in ("", "\ufeff"):  # a spreadsheet may write a byte order mark
        left, bare = read_room(str(write(tmp_path, start + text)))
        assert (left.name, left.volume_l) == ("Rack, left", pytest.approx(115.2))
        assert left.companions == (Companion("tetra", 30, 6), Companion("snail"))
        assert bare == Tank("Bare", 60, 30, 30)


def test_everything_wrong_is_said_at_once_with_its_place(tmp_path):
    text = 'A,60,30,30,,"26 cm",\nA,-60,30,30,40,60,x:y\n,60,30,30,,,\nB,60,30\nC,60,,30,,inf,\n'
    with pytest.raises(TableError) as caught:
        read_room(write(tmp_path, HEADER + text))
    found = {(p.row, p.column, p.value): p.right for p in caught.value.problems}
    for place, right in {
        ("2 (A)", "temperature_c", "26 cm"): "write it in °C",
        ("3 (A)", "name", "A"): "row 2 has this name already",
        ("3 (A)", "length_cm", "-60"): "5 to 2000 cm",
        ("3 (A)", "temperature_c", "60"): "0 to 40 °C",
        ("3 (A)", "fill_cm", "40"): "can't stand higher than the tank, 30 cm",
        ("3 (A)", "companions", "x:y"): "alone in mm",
        ("4", "name", ""): "give the tank a name",
        ("5 (B)", "", "3"): "the row has 3 cells; the header has 7",
        ("6 (C)", "width_cm", ""): "give a number, 5 to 2000 cm",
        ("6 (C)", "temperature_c", "inf"): "write the number alone in °C",
    }.items():
        assert right in found.pop(place)
    assert not found
    assert "room.csv, row 2 (A), temperature_c: '26 cm'" in str(caught.value)
    for missing in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(TableError, match="the file is missing from this folder"):
            read_room(missing)


def test_a_file_that_is_no_room(tmp_path):
    for text, said in (
        ("", "the file is empty; the first row holds name, length_cm"),
        ("fill_cm\n3\n", "column name is missing"),
        (HEADER, "holds no tank"),
        ("name;length_cm\nA;60\n", "semicolons"),
        ("name,length_cm,width_cm\nA,60,30\n", "column height_cm is missing"),
        (HEADER.replace("fill_cm", "fil_cm") + "A,60,30,30,,,\n", "did you mean 'fill_cm'?"),
        (HEADER.replace("fill_cm", "name") + "A,60,30,30,,,\n", "two columns have this name"),
        (HEADER + 'A,60,30,30,,,"x\n', "unclosed quotation mark"),
        (b"name\nK\xfchl\n", "not UTF-8"),
    ):
        with pytest.raises(TableError) as caught:
            read_room(write(tmp_path, text))
        assert said in str(caught.value)


def test_the_invented_room_holds_every_kind_of_answer(shipped):
    tanks = read_room(ROOM)
    assert 4 <= len(tanks) <= 6
    sheets = [care_for(shipped, name) for name in ("hypancistrus_zebra", "leporacanthicus_galaxias")]
    checks = [check for care in sheets for check in check_room(care, tanks).checks]
    assert {check.verdict[:4] for check in checks} == {"Fits", "Fail", "Can'"}
    assert {"pass", "not measured", "need not known", "read"} <= {c.verdict for k in checks for c in k.checks}


def test_a_tank_is_read_from_numbers_and_text_and_blank_is_not_measured():
    tank = Tank.of(GOOD)
    assert (tank.volume_l, tank.full_volume_l, tank.turnover) == pytest.approx((160, 180, 6.25))
    tank = Tank.of({"length_cm": " 100 ", "width_cm": "40", "height_cm": np.float64(45), "ph": " "})
    assert (tank.length_cm, tank.height_cm, tank.ph, tank.name) == (100.0, 45.0, None, "tank")
    assert Tank.of({**GOOD, "companions": [Companion("a")]}).companions == (Companion("a"),)
    with pytest.raises(TankError) as caught:
        Tank.of({**GOOD, "length_cm": -1, "ph": 20, "temperature_c": "x"})
    assert {measure for measure, _, _ in caught.value.wrong} == {"length_cm", "ph", "temperature_c"}


@pytest.mark.parametrize(
    ("measure", "said", "values"),
    [
        ("ph", "3 to 11", [float("nan")]),
        ("gh_dgh", "0 to 60 °dGH", [61]),
        ("altitude_m", "-430 to 5400 m", [9000]),
        ("ph", "give a number", [True, np.bool_(True)]),
        ("ph", "write 6500 or 6.500", ["6,500"]),
        ("temperature_c", "write the number alone in °C", ["28 K", "1_0"]),
        ("name", "give the tank a name", [3]),
        ("substrate", "give a text", [3]),
        ("companions", "name:length in mm:count", [3, "a:30:2:5", [{"name": "x"}]]),
        ("companions", "whole number", ["a::0"]),
        ("lenght_cm", "did you mean 'length_cm'?", [3]),
    ],
)
def test_what_cannot_be_is_one_clear_error(measure, said, values):
    for value in values:
        with pytest.raises(IdkeyError) as caught:
            check_tank(WORM, {**GOOD, measure: value})
        assert said in str(caught.value)
        assert "\n" not in str(caught.value)


def test_a_measure_is_read_as_people_write_it():
    for measure, written, read in (
        ("temperature_c", "26,5", 26.5),
        ("temperature_c", "80.6 °F", 27.0),
        ("ph", "6,8", 6.8),
        ("gh_dgh", "89.24 ppm", 5.0),
        ("length_cm", "31 1/2 in", 80.01),
        ("width_cm", '12"', 30.48),
        ("length_cm", "800 mm", 80.0),
        ("altitude_m", "-3", -3.0),
    ):
        tank = Tank.of({"length_cm": 80, "width_cm": 35, "height_cm": 40, measure: written})
        assert getattr(tank, measure) == pytest.approx(read)


def test_a_room_that_may_not_be_read_is_refused_in_one_line(tmp_path, monkeypatch):
    def refuse(*_):
        raise PermissionError(errno.EACCES, "Permission denied")

    file = write(tmp_path, HEADER)
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(TableError, match=r"room\.csv: '': the file cannot be read \(there is no right"):
        read_room(file)

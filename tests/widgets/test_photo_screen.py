"""Measure on a photo: points, spots, what is accepted of the answers, and how it is kept with the fish."""

import pytest
from markup import words
from PIL import Image
from plain_fish import POINTS, SPOTS, draw, set_all, tell

import idkey
from idkey.errors import IdkeyError
from idkey.photo.points import NAMES
from idkey.widgets.way import PHOTO

MADE_BY = 0x013B  # the tag of Exif 2.3 for the artist


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("pictures") / "fish.jpg"
    image = draw()
    exif = image.getexif()
    exif[MADE_BY] = "Somebody"
    image.save(path, quality=95, exif=exif)
    return path


@pytest.fixture
def screen(file, shipped):
    return idkey.photo_view(file, shipped)


def test_points_are_asked_for_in_order_each_may_be_left_out_and_undo_takes_back_each_step(screen):
    measuring, canvas = screen.measuring, screen.measuring.canvas
    assert canvas.asks[0] == "snout"
    tell(measuring, kind="set", name="snout", at=[150.5, 400])
    assert canvas.asks[0] == "tail_base"
    measuring.skip.click()
    assert canvas.asks[0] == "gill"
    measuring.other.value = "white"
    assert canvas.asks[0] == "white"
    tell(measuring, kind="set", name="white", at=[10, 20])
    assert canvas.asks[0] == "gill"
    tell(measuring, kind="set", name="snout", at=[160, 410])
    tell(measuring, kind="take", name="white")
    assert canvas.points == {"snout": [160, 410]}
    for points in ({"snout", "white"}, {"snout", "white"}, {"snout"}, {"snout"}, set()):
        tell(measuring, kind="undo")
        assert canvas.points.keys() == points
    assert measuring.undo.disabled
    assert canvas.asks[0] == "snout"
    for _ in NAMES:
        measuring.skip.click()
    assert canvas.asks == []
    assert "All points are set or left out" in words(measuring._asked)


def test_what_is_no_point_is_one_line_and_the_browser_hears_of_it(screen, monkeypatch):
    heard = []
    monkeypatch.setattr(screen.measuring.canvas, "send", heard.append)
    tell(screen.measuring, kind="set", name="tail", at=[1, 2])
    assert "'tail'" in words(screen._alert)
    tell(screen.measuring, kind="set", name="eye_front", at=[1, 2])
    assert screen._alert.value == ""
    assert heard == [{"heard": "tail", "at": [1, 2]}, {"heard": "eye_front", "at": [1, 2]}]


@pytest.mark.parametrize("right", [False, True])
def test_the_drawings_look_the_way_the_fish_does(screen, right):
    ends = {"snout": POINTS["snout"], "tail_base": POINTS["tail_base"]}
    if right:
        ends = dict(zip(ends, [*ends.values()][::-1], strict=True))
    set_all(screen.measuring, ends)
    assert ("scale(-1 1)" in screen.measuring._asked.value) is right


def test_nothing_is_answered_before_it_is_accepted_one_by_one_or_all(screen):
    measuring, fish = screen.measuring, screen.identification
    set_all(measuring)
    measuring.find.click()
    found = measuring.measures.answers(fish.table)
    assert {"pattern", "spot_size", "spot_density", "eye_size"} <= found.keys()
    assert not fish.answers
    measuring._offers["spot_size"].children[1].click()
    assert dict(fish.answers) == {"spot_size": found["spot_size"]}
    pressed = {name: offer.children[1].description for name, offer in measuring._offers.items()}
    assert pressed["spot_size"].startswith("\u2713")
    assert not pressed["pattern"].startswith("\u2713")
    measuring.accept_all.click()
    assert dict(fish.answers) == found
    assert "still possible" in words(screen._outcome)


def test_an_answer_given_by_eye_stands_beside_the_measured_one(screen):
    set_all(screen.measuring)
    screen.identification.answer("eye_size", 40)
    screen.measuring.show_offers()
    assert "So far: 40" in words(screen.measuring._offers["eye_size"].children[0])


def test_spots_are_outlined_and_a_click_takes_one_away_or_adds_one(screen):
    measuring = screen.measuring
    assert measuring.sow.disabled
    set_all(measuring)
    measuring.find.click()
    count = len(measuring.spots)
    assert abs(count - len(SPOTS)) <= 0.1 * len(SPOTS)
    assert len(measuring.canvas.outlines) == count
    measuring.sow.click()
    assert measuring.canvas.sowing
    at = next(spot for spot in SPOTS if measuring.spots.at(*spot) is not None)
    tell(measuring, kind="spot", at=list(at))
    assert len(measuring.spots) == count - 1
    assert measuring.spots.at(*at) is None
    tell(measuring, kind="spot", at=list(at))
    assert len(measuring.canvas.outlines) == count
    # As wide as it is on the picture.
    added = measuring.spots.diameter[measuring.spots.at(*at)]
    assert added == pytest.approx(16, rel=0.25)
    for _ in range(3):
        measuring.undo.click()
    assert measuring.spots is None


def test_the_marks_of_a_ruler_are_so_far_apart_as_is_typed(screen):
    measuring = screen.measuring
    set_all(measuring)
    assert measuring.ruler.layout.display == "none"
    set_all(measuring, {"ruler_a": (100, 700), "ruler_b": (600, 700)})
    assert measuring.ruler.layout.display == ""
    measuring.ruler.value = "2 in"
    assert measuring.points.ruler_mm == pytest.approx(50.8)
    # 700 pixels of the fish against 500 of the ruler.
    assert measuring.measures["standard_length"].value == pytest.approx(71.12)
    measuring.ruler.value = "two"
    assert "two" in words(screen._alert)
    assert measuring.points.ruler_mm == pytest.approx(50.8)
    measuring.undo.click()
    assert (measuring.ruler.value, measuring.points.ruler_mm) == ("", None)


def test_a_picture_comes_from_the_browser_in_pieces_and_points_are_not_lost_unasked(screen, file, tmp_path):
    measuring, data = screen.measuring, file.read_bytes()
    other = tmp_path / "other.png"
    Image.new("RGB", (300, 200), "grey").save(other)

    def upload(data, step):
        for at in range(0, len(data), step):
            tell(measuring, [data[at : at + step]], kind="file", name="mine.jpg", size=len(data), at=at)

    set_all(measuring)
    measuring.path.value = str(other)
    measuring.opens.click()
    assert "takes the points on this one away" in words(screen._alert)
    assert measuring.points.has(*POINTS)
    measuring.opens.click()
    assert (measuring.canvas.size, measuring.canvas.points) == ([300, 200], {})
    upload(data, len(data) // 3)
    assert (measuring.picture.name, measuring.picture.path) == ("mine.jpg", None)
    assert measuring.canvas.size == [1200, 800]
    upload(data[:2000], 2000)
    assert "mine.jpg" in words(screen._alert)
    assert measuring.picture.name == "mine.jpg"
    with pytest.raises(IdkeyError, match=r"missing\.jpg"):
        idkey.photo_view(tmp_path / "missing.jpg")


# -- with the fish in the book ------------------------------------------------------------------------


@pytest.fixture
def desk(book, shipped):
    desk = idkey.identify(shipped, {"pattern": "light_spots"}, book)
    desk.way.folds[PHOTO].button.click()
    return desk


def opened(desk, path):
    desk.measuring.path.value = str(path)
    desk.measuring.opens.click()
    assert desk.way._alerts[PHOTO].value == ""
    set_all(desk.measuring)


def reopen(desk, number):
    desk.way.keeping.next.click()
    assert desk.measuring.picture is None
    desk.way.keeping.find.value = str(number)
    desk.way.keeping.opens.click()


def test_points_and_outlines_are_kept_and_shown_again(desk, book, file):
    opened(desk, file)
    desk.measuring.find.click()
    desk.measuring._offers["eye_size"].children[1].click()
    assert "Eye against head" in words(desk.looking._rows["eye_size"].children[0])
    marks = desk.measuring.marks
    desk.way.keeping.press.click()
    (photo,) = book.fish(1).photos
    assert photo.place == str(file)
    assert {name: photo.points[name] for name in marks} == marks
    desk.measuring.find.click()
    set_all(desk.measuring, {"snout": (151, 401)})
    later = desk.measuring.marks
    desk.way.keeping.next.click()
    assert "not in the book yet" in words(desk.way.keep_alert)
    desk.way.keeping.press.click()
    assert "what was measured is in the book" in words(desk.way.keeping._said)
    assert (len(book.fish(1).photos), len(book.fish(1).looks)) == (2, 1)
    reopen(desk, 1)
    assert 'picture stands under "Measure on a photo"' in words(desk.way.keeping._said)
    assert desk.measuring.marks == later
    assert desk.measuring.canvas.asks == []


def test_another_file_in_its_place_is_not_taken_for_the_picture(desk, tmp_path):
    path = tmp_path / "mine.png"
    draw().save(path)
    opened(desk, path)
    desk.way.keeping.press.click()
    Image.new("RGB", (300, 200), "grey").save(path)
    reopen(desk, 1)
    assert "is another picture now" in words(desk.way.keeping._said)
    assert (desk.way.keeping.number, desk.measuring.picture) == (1, None)
    assert dict(desk.identification.answers) == {"pattern": "light_spots"}


def test_a_copy_beside_the_book_says_nothing_of_who_took_it(desk, book, file):
    data = file.read_bytes()
    assert Image.open(file).getexif()[MADE_BY] == "Somebody"
    tell(desk.measuring, [data], kind="file", name="mine.jpg", size=len(data), at=0)
    set_all(desk.measuring)
    desk.way.keeping.press.click()
    assert "the browser does not say where it lies" in words(desk.way.keep_alert)
    assert not book.last()
    desk.way.keeping.copy.value = True
    desk.way.keeping.press.click()
    desk.way.keeping.press.click()
    (photo,) = book.fish(1).photos
    (copy,) = book.pictures.iterdir()
    assert photo.place == str(copy)
    assert not Image.open(copy).getexif()
    assert b"Somebody" not in copy.read_bytes()
    reopen(desk, 1)
    assert desk.measuring.points.has(*POINTS)

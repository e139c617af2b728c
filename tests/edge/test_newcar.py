"""A car's file made by questions. Vehicle numbers are invented; check digits as in 49 CFR 565.15."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from runner.edge.carfile import Car, NotWritten, add_ask, read_car
from runner.edge.newcar import BEGUN, fill, make_car
from tests.edge.small import procedure

VIN = "11111111111111111"
IDENTITY = ["Blue Estate", VIN, "1", "left", "182000 km", "ab"]
LITERATURE = "car's service literature"
VALUES = ["3 mm", LITERATURE, "11", "2", "floating", "seen on the car", "not known yet", ""]
INSTRUMENT = ["outside mike", "mm", "0.02 mm", "2027-01-31"]


class Script:
    """Answers in their order; keeps what was asked. Raises like a terminal when the person stops."""

    def __init__(self, answers: list[str]) -> None:
        self.left = list(answers)
        self.asked: list[tuple[str, str, tuple[str, ...]]] = []

    def __call__(self, prompt: str, hint: str, options: tuple[str, ...]) -> str:
        self.asked.append((prompt, hint, options))
        if not self.left:
            raise EOFError
        return self.left.pop(0)

    def after(self, answer_number: int) -> str:
        """What was said with the question that came after that answer, from 0."""
        return self.asked[answer_number + 1][1]


def car_of(path: Path) -> Car:
    car = read_car(path)
    assert isinstance(car, Car), car
    return car


def test_every_question_is_one_line_and_the_file_holds_every_answer(tmp_path: Path):
    script = Script([*IDENTITY, *VALUES, *INSTRUMENT])
    path = make_car(script, tmp_path, procedure())
    assert script.left == []
    assert path == tmp_path / "blue-estate.yaml"
    car = car_of(path)
    assert (car.name, car.vin, car.steering, car.odometer, car.people) == (
        "Blue Estate", VIN, "left", "182000 km", ("AB",),
    )  # fmt: skip
    assert car.salt
    assert car.asks == {
        "pad_limit": {"value": "3 mm", "source": LITERATURE},
        "pad_new": {"value": "11 mm", "source": "marked on the part"},
        "caliper": {"value": "floating", "source": "seen on the car"},
    }
    assert car.instruments == {
        "outside mike": {"what": "micrometer", "unit": "mm", "error": "0.02 mm", "due": "2027-01-31"}
    }
    assert all("\n" not in text for prompt, hint, options in script.asked for text in (prompt, hint, *options))
    assert not (tmp_path / BEGUN).exists()


def test_the_questions_of_a_value_name_its_unit_its_corner_and_the_accepted_sources(tmp_path: Path):
    script = Script([*IDENTITY, *VALUES, *INSTRUMENT])
    make_car(script, tmp_path, procedure())
    prompts = [prompt for prompt, *_ in script.asked]
    assert "Thickness of a new pad, in mm" in prompts
    assert "Wear of the disc, front, in mm" in prompts
    assert "Wear of the disc, rear, in mm" in prompts
    at = prompts.index("Thickness of a new pad, in mm")
    assert script.asked[at + 1] == (
        "where it was read", "", (LITERATURE, "marked on the part", "measured on this car"),
    )  # fmt: skip
    assert script.asked[prompts.index("Kind of caliper")][2] == ("floating", "fixed", "not known yet")


def test_the_vin_is_read_back_in_groups_and_can_be_typed_again(tmp_path: Path):
    script = Script(["x", "11111111211111111", "2", VIN, "1"])
    with pytest.raises(EOFError):
        make_car(script, tmp_path, procedure())
    prompt, doubt, options = script.asked[2]
    assert prompt == "it reads 111 11111 2 11111111: so"
    assert "the check digit (9th character) is 2, but 1 agrees" in doubt
    assert options == ("yes, as on the car", "no, type it again")
    assert script.asked[3][1] == "compare it with the plate, group by group"
    assert script.asked[4][:2] == ("it reads 111 11111 1 11111111: so", "")


def test_a_vehicle_number_that_cannot_be_read_is_said_so_and_said_again_with_each_run(tmp_path: Path):
    script = Script([IDENTITY[0], "", *IDENTITY[3:], *VALUES, *INSTRUMENT])
    car = car_of(make_car(script, tmp_path, procedure()))
    assert "empty: cannot be read" in script.asked[1][1]
    assert car.vin == ""
    (told,) = car.warnings
    assert "could not be read" in told.text
    assert car.reference != replace(car, salt="another").reference


@pytest.mark.parametrize(
    ("before", "bad", "said"),
    [
        ([], "", "nothing was typed: an answer is needed here"),
        ([], "n" * 61, "this name is too long: type at most 60 characters"),
        (["x"], "1111111111111111O", "'O' is never used in a VIN, character 17: read it again, probably 0"),
        (["x"], "111", "a VIN has 17 characters, this has 3: compare it with the plate, group by group"),
        (IDENTITY[:3], "middle", "'middle' is not one of the answers: type 1 to 2"),
        (IDENTITY[:3], "3", "'3' is not one of the answers: type 1 to 2"),
        (IDENTITY[:4], "182000", "the unit is missing"),
        (IDENTITY[:4], "182,000 km", "the comma can mark decimals or thousands: type a point for decimals"),
        (IDENTITY[:4], "182 m", "an odometer does not count in m: type km or mi behind the number"),
        (IDENTITY[:5], "a", "'a' are no initials: type two to four letters, for example AB"),
        (IDENTITY[:5], "äb", "'äb' are no initials"),
        (IDENTITY, "3 kg", "measures mass, but length is expected"),
        (IDENTITY, "0.5 mm", "0.5 mm is less than 1 mm, the least that can be right: check the value and its unit"),
        (IDENTITY, "not known yet", "a value is needed here: look it up before the start"),
        ([*IDENTITY, "3 mm"], "hearsay", "'hearsay' is not one of the answers: type 1 to 1"),
        ([*IDENTITY, "3 mm"], "", "nothing was typed"),
        ([*IDENTITY, *VALUES[:2], "2 mm"], LITERATURE, "pad_new: 2 mm is not above pad_limit, which is 3 mm"),
        ([*IDENTITY, *VALUES, "mike"], "kg", "measures mass, but length is expected"),
        ([*IDENTITY, *VALUES, "mike", "mm"], "", "no error is stated: type an amount or a share"),
        ([*IDENTITY, *VALUES, "mike", "mm"], "-4 %", "no error is stated: type an amount or a share"),
        ([*IDENTITY, *VALUES, "mike", "mm"], "1 kPa", "measures pressure, but length is expected"),
        ([*IDENTITY, *VALUES, "mike", "mm", "4 %"], "soon", "'soon' is not a day: type it as 2027-01-31"),
    ],
)
def test_a_wrong_answer_gets_one_clear_message_and_the_question_again(tmp_path: Path, before, bad, said):
    script = Script([*before, bad])
    with pytest.raises(EOFError):
        make_car(script, tmp_path, procedure())
    assert said in script.after(len(before))
    if "not above" not in said:
        assert script.asked[-1][0] == script.asked[-2][0]


def test_what_was_entered_stays_wherever_it_is_stopped(tmp_path: Path):
    answers = [*IDENTITY, *VALUES, *INSTRUMENT]
    for count in range(len(answers)):
        folder = tmp_path / str(count)
        with pytest.raises(EOFError):
            make_car(Script(answers[:count]), folder, procedure())
        made = sorted(folder.glob("*.yaml"))
        if count < len(IDENTITY):
            assert made == []
            answered = count - 1 if count >= 2 else count  # reading back is no answer of its own
            kept = (folder / BEGUN).read_text("utf-8") if answered > 0 else ""
            assert ("Blue Estate" in kept) is (count > 0)
            continue
        car = car_of(made[0])
        assert len(car.asks) == min(3, max(0, (count - len(IDENTITY)) // 2))


def test_a_car_that_was_begun_goes_on_where_it_was_left(tmp_path: Path):
    with pytest.raises(EOFError):
        make_car(Script(IDENTITY[:4]), tmp_path, procedure())
    script = Script(["yes", *IDENTITY[4:], *VALUES, *INSTRUMENT])
    path = make_car(script, tmp_path, procedure())
    assert script.asked[0] == ("go on with 'Blue Estate', which was begun", "", ("yes", "no"))
    assert (car_of(path).vin, car_of(path).steering) == (VIN, "left")


def test_a_car_that_was_begun_can_be_left_for_another(tmp_path: Path):
    with pytest.raises(EOFError):
        make_car(Script(IDENTITY[:4]), tmp_path, procedure())
    path = make_car(Script(["no", "Red Van", *IDENTITY[1:], *VALUES, *INSTRUMENT]), tmp_path, procedure())
    assert path.name == "red-van.yaml"


def test_what_the_file_holds_is_not_asked_again(tmp_path: Path):
    with pytest.raises(EOFError):
        make_car(Script([*IDENTITY, *VALUES[:4]]), tmp_path, procedure())
    path = tmp_path / "blue-estate.yaml"
    script = Script([*VALUES[4:], *INSTRUMENT])
    fill(script, path, procedure())
    assert script.left == []
    assert script.asked[0][0] == "Kind of caliper"
    add_ask(path, "wear@front", "0.1 mm", "seen on the car")
    again = Script([""])
    fill(again, path, procedure())
    assert [prompt for prompt, *_ in again.asked] == ["Wear of the disc, rear, in mm"]


def test_a_value_that_was_wrong_before_does_not_stand_in_the_way_of_another(tmp_path: Path):
    with pytest.raises(EOFError):
        make_car(Script(IDENTITY), tmp_path, procedure())
    path = tmp_path / "blue-estate.yaml"
    add_ask(path, "pad_limit", "3 kg", "hearsay")
    script = Script([*VALUES[2:], *INSTRUMENT])
    fill(script, path, procedure())
    assert script.left == []
    assert car_of(path).asks["pad_new"]["value"] == "11 mm"


def test_an_instrument_that_is_not_at_hand_is_left_out(tmp_path: Path):
    path = make_car(Script([*IDENTITY, *VALUES, ""]), tmp_path, procedure())
    assert car_of(path).instruments == {}


def test_two_cars_of_one_name_have_two_files(tmp_path: Path):
    paths = [make_car(Script([*IDENTITY, *VALUES, *INSTRUMENT]), tmp_path, procedure()) for _ in range(2)]
    assert [path.name for path in paths] == ["blue-estate.yaml", "blue-estate-2.yaml"]


def test_no_name_leads_out_of_the_folder_or_into_the_terminal(tmp_path: Path):
    script = Script(["../../\x1b[31m: {x}\u202e", *IDENTITY[1:], *VALUES, *INSTRUMENT])
    path = make_car(script, tmp_path, procedure())
    assert re.fullmatch(r"[a-z0-9-]+\.yaml", path.name)
    assert path.parent == tmp_path
    assert car_of(path).name == "../../[31m: {x}"


def test_a_file_that_cannot_be_read_is_told_with_its_place(tmp_path: Path):
    path = tmp_path / "car.yaml"
    path.write_text("car: {\n", "utf-8")
    with pytest.raises(NotWritten, match=r"car\.yaml:2:1"):
        fill(Script([]), path, procedure())

"""A simulation never writes over what it did not make, and says so in whole sentences."""

from pathlib import Path

import pytest

from pipeline.errors import ReelproofError
from pipeline.simulator.simulate import simulate_run
from pipeline.simulator.simulate_plant import full_size_scenario, simulate_plant
from tests.simulator.in_memory import short_scenario, simulate_in_memory


def test_a_run_that_was_not_simulated_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "run.toml").write_text("real")
    with pytest.raises(ReelproofError) as refused:
        simulate_run(short_scenario(length_m=600.0), tmp_path, 1)
    assert str(refused.value) == (
        f"{tmp_path / 'run.toml'}: this run was not simulated, and a simulation would write over it. "
        "Choose an empty folder."
    )
    assert [path.name for path in tmp_path.iterdir()] == ["run.toml"]
    assert (tmp_path / "run.toml").read_text() == "real"


def test_a_folder_of_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "README.md").write_text("mine")
    with pytest.raises(ReelproofError) as refused:
        simulate_plant(tmp_path)
    assert str(refused.value) == (
        f"{tmp_path}: this folder holds README.md, which was not made by a simulation. Choose an empty folder."
    )
    assert [path.name for path in tmp_path.iterdir()] == ["README.md"]


def test_a_simulated_run_may_be_made_again(tmp_path: Path) -> None:
    for seed in (1, 2):
        truth = simulate_run(short_scenario(length_m=600.0), tmp_path, seed)
        assert truth.seed == seed


def test_a_file_in_the_way_is_a_complaint(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with pytest.raises(ReelproofError) as refused:
        simulate_run(short_scenario(length_m=600.0), tmp_path / "taken", 1)
    assert str(refused.value) == (
        f"{tmp_path / 'taken'}: this cannot be written: File exists. Choose another folder, or free space on the disk."
    )


def test_a_negative_seed_is_a_complaint(tmp_path: Path) -> None:
    for act in (
        lambda: simulate_run(short_scenario(length_m=600.0), tmp_path / "new", -1),
        lambda: simulate_in_memory(short_scenario(length_m=600.0), -1),
        lambda: simulate_plant(tmp_path / "new", -1),
    ):
        with pytest.raises(ReelproofError) as refused:
            act()
        assert str(refused.value) == "--seed: found -1. Give a whole number from 0 on."
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("hours", "hz", "sentence"),
    [
        (0.0, 10.0, "--hours: found 0. Give a number above 0."),
        (float("nan"), 10.0, "--hours: found nan. Give a number above 0."),
        (1.0, -2.0, "--hz: found -2. Give a number above 0."),
        (1.0, float("inf"), "--hz: found inf. Give a number above 0."),
    ],
)
def test_times_and_rates_that_cannot_be_are_complaints(hours: float, hz: float, sentence: str) -> None:
    with pytest.raises(ReelproofError) as refused:
        full_size_scenario("L1", "14 AWG", hours, hz)
    assert str(refused.value) == sentence


def test_a_line_makes_only_its_own_products() -> None:
    with pytest.raises(ReelproofError) as refused:
        full_size_scenario("L2", "14 AWG", 1.0, 10.0)
    assert str(refused.value) == (
        "--product: line L2 does not make THHN/THWN-2 14 AWG solid copper. It makes XHHW-2 1/0 AWG concentric copper."
    )

"""The short version of the load run: 480 cards, eight clients, two kills."""

from pathlib import Path

import pytest

from tests.load import hand_in

pytestmark = pytest.mark.slow


def test_no_acknowledged_card_is_lost_when_the_server_is_killed(tmp_path: Path) -> None:
    found = hand_in.run(tmp_path, teams=40, tables=7, categories=2, clients=8, kills=2, seed=7, env={})
    assert found["wrong"] == []
    assert (found["cards"], found["acknowledged"], found["kills"]) == (480, 480, 2)
    assert min(found["requests cut off"]) >= 1
    assert set(found["answers"]) <= {200, 201}


def test_the_comparison_notices_what_is_lost_and_what_is_invented(tmp_path: Path) -> None:
    """The run's own check can fail: a card that never came, and one that nobody sent."""
    hand_in.run(tmp_path, teams=2, tables=1, categories=1, clients=1, kills=0, seed=7, env={})
    wrong = hand_in.compare(tmp_path, {}, hand_in.Traffic(), {"f" * 32})
    assert f"{'f' * 32} is acknowledged and not there" in wrong
    assert sum("was never sent" in each for each in wrong) == 12

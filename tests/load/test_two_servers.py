"""Two servers of one PostgreSQL database behind nginx, as the help on serving describes them."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from tests.load import two_servers

DATABASE = os.environ.get("DATABASE_URL", "")

pytestmark = [
    pytest.mark.skipif(not DATABASE.startswith("postgres"), reason="two servers share a PostgreSQL database"),
    pytest.mark.skipif(shutil.which("nginx") is None, reason="nginx is not installed: apt-get install nginx-light"),
]


@pytest.fixture
def empty_database() -> Iterator[str]:
    import psycopg

    name = f"two_servers_{os.getpid()}"
    with psycopg.connect(DATABASE, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        yield urlsplit(DATABASE)._replace(path=f"/{name}").geturl()
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


def test_twenty_contests_at_once_lose_and_double_nothing(tmp_path: Path, empty_database: str) -> None:
    """64 phones, two laptops at each desk, both servers killed once, every tally closed by two requests at once."""
    found = two_servers.run(
        tmp_path, contests=20, teams=3, clients=64, kills=2, seed=7, env={"DATABASE_URL": empty_database}
    )
    assert found["wrong"] == []
    assert (found["contests"], found["cards"], found["acknowledged"], found["kills"]) == (20, 720, 720, 2)
    assert set(found["answers"]) <= {200, 201}
    assert found["closings"] == {302: 20, 422: 20}  # one closes, the other is told so

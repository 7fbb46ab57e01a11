"""Small things that many tests need."""

import sys
import uuid
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import create_engine, text

from damagescore.edge.record import Edge, Layer
from damagescore.quantity import Measured
from damagescore.records import Store
from damagescore.scale.record import Scale, SurfaceMap
from tests.postgres_server import binaries, postgres_server

MM_PER_PX = 0.04


def plain_scale(mm_per_px: float = MM_PER_PX, *, u_relative: float = 0.001) -> Scale:
    """A frontal, flat scale."""
    return Scale(
        method="two_points",
        surface=SurfaceMap(px_to_mm=np.diag([mm_per_px, mm_per_px, 1.0])),
        centre_px=(200.0, 150.0),
        u_relative=u_relative,
        tilt_deg=0.0,
        marks=(),
    )


def flat_edge(*, width: int = 400, height: int = 300, tops: tuple[int, ...] = ()) -> Edge:
    """Horizontal layers between the given rows, the first row the lowest."""
    rows = tops or (280, 200, 180, 100, 80, 20)
    x = np.linspace(0, width - 1, 20)
    thickness = Measured(value=1.0, u=0.01, unit="mm")
    layers = tuple(
        Layer(
            index=i, kind="rubber" if i % 2 == 0 else "shim",
            lower_px=np.column_stack([x, np.full_like(x, low)]),
            upper_px=np.column_stack([x, np.full_like(x, high)]), thickness=thickness,
        )
        for i, (low, high) in enumerate(pairwise(rows))
    )  # fmt: skip
    return Edge(layers=layers, shape=(height, width))


@pytest.fixture(autouse=True)
def own_main() -> Iterator[None]:
    """Put the main module back: AppTest leaves the app's, which a new process would run."""
    main = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = main


@pytest.fixture
def scale() -> Scale:
    return plain_scale()


@pytest.fixture
def edge() -> Edge:
    return flat_edge()


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """Address of a server that runs as long as the tests."""
    if binaries() is None:
        pytest.skip("PostgreSQL is not installed: apt-get install postgresql")
    with postgres_server() as url:
        yield url


@pytest.fixture
def new_schema(postgres: str) -> Callable[[], str]:
    """Give the address of an empty schema of the server at each call."""

    def made() -> str:
        name = f"t{uuid.uuid4().hex}"
        engine = create_engine(postgres)
        with engine.begin() as connection:
            connection.execute(text(f"CREATE SCHEMA {name}"))
        engine.dispose()
        return f"{postgres}?options=-csearch_path%3D{name}"

    return made


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """An empty store, once with each database."""
    postgres = request.param == "postgresql"
    url = request.getfixturevalue("new_schema")() if postgres else None
    with Store(tmp_path / "data", url=url) as opened:
        yield opened

"""What all tests share: the seed of the statistical ones."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--seed",
        type=int,
        default=1,
        help="Seed of the statistical tests. The default is fixed; a wider run tries others.",
    )


@pytest.fixture(scope="session")
def seed(request: pytest.FixtureRequest) -> int:
    return request.config.getoption("--seed")


def pytest_report_header(config: pytest.Config) -> str:
    return f"statistical tests: --seed {config.getoption('--seed')}"

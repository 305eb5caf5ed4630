"""One page of a made-up result with known light, and one browser, for all tests of this folder."""

from __future__ import annotations

import pytest

import browser
import synthetic
from underlit.journal import save_page


@pytest.fixture(scope="session")
def res():
    return synthetic.result(photons=100_000)


@pytest.fixture(scope="session")
def other():
    return synthetic.result(photons=100_000, seed=2)


@pytest.fixture(scope="session")
def page_path(res, tmp_path_factory):
    return save_page([res], tmp_path_factory.mktemp("journal") / "tank.html").resolve()


@pytest.fixture(scope="session")
def pair_path(res, other, tmp_path_factory):
    return save_page([res, other], tmp_path_factory.mktemp("journal") / "pair.html").resolve()


@pytest.fixture(scope="session")
def chromium():
    if browser.why_not():
        pytest.skip(browser.why_not())
    with browser.running() as started:
        yield started


@pytest.fixture(scope="session")
def opened(chromium, page_path):
    with browser.Opened(chromium, page_path) as opened:
        yield opened


@pytest.fixture
def tank(opened):
    """The page of `page_path` as it opens: reloading takes seconds, setting it back does not."""
    opened.set_back()
    yield opened
    assert opened.faults == []

"""What every test starts from: one thread, no screen, no open figures, the same examples, no skips."""

import os

# Before numpy is loaded anywhere; the kernels of the notebooks inherit them.
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_threads] = "1"
os.environ["MPLBACKEND"] = "Agg"
# The clock is the real one unless a test fixes it.
os.environ.pop("WEARBOOK_NOW", None)

import sys  # noqa: E402

import hypothesis  # noqa: E402
import pytest  # noqa: E402

hypothesis.settings.register_profile("wearbook", derandomize=True, database=None, deadline=None)
hypothesis.settings.load_profile("wearbook")


@pytest.fixture(autouse=True)
def close_figures():
    """Close what a test has drawn, when it has drawn anything."""
    yield
    if "matplotlib.pyplot" in sys.modules:
        sys.modules["matplotlib.pyplot"].close("all")


# These take longest, some of them a minute a file: several processes begin with them, and each ends with small files.
FIRST = ("tests/packaging/", "notebooks/", "tests/notebooks/", "tests/browser/", "tests/robust/", "tests/security/")


def pytest_configure(config):
    """Let xdist take the files in our order; its own goes by the number of tests, which says little of how long."""
    config.option.loadscopereorder = False


def pytest_collection_modifyitems(items):
    """Put the folders that take longest first, whatever else is collected; all stays as it is within a folder."""
    items.sort(key=lambda item: [not item.nodeid.startswith(folder) for folder in FIRST])


def pytest_addoption(parser):
    """How often the tests that draw at random draw, and from which seed; left out, few enough for every commit."""
    parser.addoption("--kills", type=int, help="kills of each verb (left out: 20 over all of them)")
    parser.addoption("--n", type=int, help="spoiled inputs of each kind (left out: 100)")
    parser.addoption("--flips", type=int, help="changed bytes of each file, and tamperings of each kind")
    parser.addoption("--seed", type=int, default=1, help="what all these draw from (left out: 1)")


def _refuse_skip(report):
    """Turn a skip (or an expected failure) into a failure when the whole suite must have run."""
    if report.outcome == "skipped" and os.environ.get("WEARBOOK_CI"):
        reason = getattr(report, "wasxfail", None) or report.longrepr
        report.outcome = "failed"
        report.longrepr = f"WEARBOOK_CI is set, and this test did not run through: {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """No test is skipped where WEARBOOK_CI is set."""
    report = yield
    _refuse_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    """No module is skipped as a whole where WEARBOOK_CI is set."""
    report = yield
    _refuse_skip(report)
    return report

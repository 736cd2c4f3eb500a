"""Large libraries that few need are not in memory before somebody needs them."""

import subprocess
import sys

import pytest

from server.lazily import Lazily

SELDOM = ("pyarrow", "openpyxl", "pandas", "plotly", "weasyprint", "asyncua", "distributed")


def test_a_server_begins_without_what_few_need() -> None:
    code = f"import sys, server.app, server.cli; print([name for name in {SELDOM} if name in sys.modules])"
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    assert ran.stdout.strip() == "[]"


def test_it_is_loaded_by_the_first_use_and_kept() -> None:
    code = (
        "import sys\nfrom server.lazily import Lazily\nfound = Lazily('fractions')\n"
        "assert 'fractions' not in sys.modules\nhalf = found.Fraction(1, 2)\n"
        "assert 'fractions' in sys.modules and 'Fraction' in vars(found)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_what_is_not_there_is_said_as_by_any_module() -> None:
    with pytest.raises(AttributeError, match="Fractoin"):
        Lazily("fractions").Fractoin  # noqa: B018  # the attribute is the point

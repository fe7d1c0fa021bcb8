"""An error on a screen of ASCII alone: its units stay what they are."""

from __future__ import annotations

import io
import sys

import pytest

from isolate import cli


def test_a_unit_in_an_error_is_spelt_out_where_the_screen_has_no_sign_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """``120 ? 5 m?`` may be milliohm or megohm to whoever reads it."""
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stderr", io.TextIOWrapper(raw, encoding="ascii", errors="replace", write_through=True))
    assert cli.main(["calc", "insulation", "--reading", "120 mΩ", "--voltage", "500 V", "--air", "dry"]) == 1
    said = raw.getvalue().decode("ascii")
    assert "120 +/- 0.5 mohm" in said and "m?" not in said

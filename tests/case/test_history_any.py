"""Whatever a log of starts holds: it is read or refused in a sentence, each row is accounted for, nothing is changed.

The figures are read beside Python's own ``csv`` and ``float``; how cells are quoted is by RFC 4180.
"""

from __future__ import annotations

import csv
import io
from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from isolate.case.history import COLUMNS, BadHistory, History, read
from isolate.reasoning.starts import BOTH, UNKNOWN

TODAY = date(2026, 11, 27)
CHANNELS = ("A", "B")

ROLES = [names[0] for names in COLUMNS.values()] + ["Remarks", "", "OAT (F)", "time to light [ms]", "Lit"]
CELLS = [
    *(
        "",
        "A",
        "b",
        "A+B",
        "both",
        "Z",
        "yes",
        "no",
        "lit",
        "maybe",
        "aborted",
        "x",
        "5",
        "5,5",
        "-3",
        "1e9",
        "nan",
        "∞",
    ),
    *("2026-11-01", "01/02/2026", "13/14/2026", "2026-02-30", "45961", "31.12.26", "5 Nov 26", "9999-99-99", "25:61"),
    *(
        "06:00",
        "06:00Z",
        "06:00+02:00",
        "06:00+99",
        "6 pm",
        '"',
        '"a;b"',
        "a\nb",
        "\x00",
        "sep=;",
        "²",
        "٣",
        "--5",
        "5-",
    ),
]
sheets = st.lists(st.lists(st.sampled_from(CELLS), max_size=7), max_size=8)


def accounted(found: History) -> None:
    """Each row counted is a start, or is listed once as not read."""
    rows = [one.row for one in found.unread]
    assert len(rows) == len(set(rows))
    no_row = sum("no row of a table" in one.reason for one in found.unread)
    assert found.rows + no_row == len(found.starts) + len(rows)
    for start in found.starts:
        assert start.channel in (*CHANNELS, UNKNOWN, BOTH)
        assert start.seconds is None or 0 < start.seconds <= 300
        assert start.oat is None or -90 <= start.oat <= 70
        assert not (start.lit and start.aborted)


@settings(max_examples=80, deadline=None)
@given(st.one_of(st.binary(max_size=200), st.text(max_size=200)), st.booleans())
def test_what_is_no_log_at_all_is_read_or_refused(data: bytes | str, headed: bool) -> None:
    if headed:
        header = "date,time,channel,lit,seconds\n"
        data = header.encode() + data if isinstance(data, bytes) else header + data
    try:
        accounted(read(data, CHANNELS, TODAY))
    except BadHistory as refused:
        assert str(refused)


@settings(max_examples=120, deadline=None)
@given(st.lists(st.sampled_from(ROLES), min_size=1, max_size=7), sheets, st.sampled_from(",;\t|"), st.booleans())
def test_each_row_of_any_sheet_is_read_or_listed(
    roles: list[str], rows: list[list[str]], mark: str, quoted: bool
) -> None:
    header = ["lit", "channel", *roles]
    if quoted:
        text = io.StringIO()
        csv.writer(text, delimiter=mark).writerows([header, *rows])
        data = text.getvalue()
    else:
        data = "\n".join(mark.join(row) for row in [header, *rows])
    accounted(read(data, CHANNELS, TODAY))


MEANT = {
    "channel": {"A": "A", "ign b": "B", "A+B": BOTH, "": UNKNOWN, "auto": UNKNOWN},
    "lit": {"yes": True, "NO": False, "lit": True, "failed": False, "1": True, "0": False},
    "lane": {"1": "1", "a": "A", "": ""},
}
WRONG = {"channel": ["Q", "17"], "lit": ["", "perhaps", "2"]}
figures = st.one_of(
    st.just(""),
    st.floats(-200, 400, allow_nan=False).map(lambda x: f"{x:.2f}"),
    st.sampled_from(["fast", "1e3", "nan"]),
)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_what_is_read_is_what_stands_there_and_what_is_not_is_listed(data: st.DataObject) -> None:
    rows = [
        {
            **{name: data.draw(st.sampled_from([*MEANT[name], *WRONG.get(name, [])])) for name in MEANT},
            "time to light": data.draw(figures),
            "oat": data.draw(figures),
        }
        for _ in range(data.draw(st.integers(1, 6)))
    ]
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    found = read(text.getvalue(), CHANNELS, TODAY)
    accounted(found)
    unread = {one.row for one in found.unread}
    partly = {one.row for one in found.partly}
    starts = iter(found.starts)
    gap = False
    for number, row in enumerate(rows, start=2):
        if not any(row.values()):
            # An empty line is no row.
            continue
        if row["channel"] in WRONG["channel"] or row["lit"] in WRONG["lit"]:
            assert number in unread
            gap = True
            continue
        start = next(starts)
        assert number not in unread and start.gap == gap
        gap = False
        for name, value in (("channel", start.channel), ("lit", start.lit), ("lane", start.lane)):
            assert value == MEANT[name][row[name]]
        for name, figure in (("time to light", start.seconds), ("oat", start.oat)):
            # Either the very figure of the cell, or none and the row is listed.
            assert figure == float(row[name]) if figure is not None else not row[name] or number in partly
    assert next(starts, None) is None

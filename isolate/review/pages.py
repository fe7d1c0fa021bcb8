"""A review, a group of repeats and fleet figures as pages: each one HTML file that needs nothing else.

Nothing of a page is fetched, and its policy lets the browser run and fetch nothing but the style and the script that
it carries, which are named by their SHA-256 (W3C Content Security Policy). It reads without the script. It prints on
A4 and on US Letter in black on white, and what is told by a colour is told by a word, a sign or dashes as well. Only
this module knows jinja2; the pages are in ``templates/``.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC
from functools import cache
from hashlib import sha256
from math import isfinite
from typing import TYPE_CHECKING, Any

from isolate.case.events import EventError, parse_time
from isolate.case.measured import figured, label
from isolate.kb.shown import plain
from isolate.review.chart import MOST_LINES, NO_FAULT, Line, Ranged, Turn, bar, belief_chart, key, ranges, strip
from isolate.review.shapes import Review
from isolate.review.story import odds_words
from isolate.review.story import share as percent

if TYPE_CHECKING:
    from jinja2 import Environment

    from isolate.review.fleet import Fleet
    from isolate.review.repeats import Repeats

GOVERNS = (
    "This page reads a record back. It releases nothing and holds no limits: your approved data and the licensed "
    "people decide."
)
KINDS = {
    "opened": ("○", "opened"),
    "told": ("·", "told"),
    "asked": ("?", "asked"),
    "answered": ("=", "answered"),
    "turned-down": ("×", "turned down"),
    "caution": ("!", "caution"),
    "gate": ("‖", "held back"),
    "access": ("□", "access"),
    "repair": ("■", "repair"),
    "swap": ("⇄", "changed over"),
    "verified": ("◇", "verified"),
    "taken-back": ("←", "taken back"),
    "remark": ("“", "remark"),
    "people": ("&", "people"),
    "rule": ("§", "rule"),
    "ended": ("●", "ended"),
    "shop": ("◆", "shop finding"),
    "signed": ("~", "signed"),
}
"""Kind of a moment → its mark and its word."""
TURNS = ("repair", "swap", "verified", "ended")
"""Kinds of moments that the chart marks."""
SPENT = {"check": "Checks", "repair": "Repairs", "swap": "Changing parts over", "access": "Access, opening and closing"}
ALMOST_NONE = 0.05
"""The chart has a line for "no fault" where that is ever as probable as this."""
OVER = 1.005
"""Shares that come to more than this are told to: several may be at fault at once."""
BESIDE = 4
"""So many visits beside each other print on a sheet."""
SHOWN = 0.05
"""Fewer bits are shown as none."""
SAYS_NOTHING = 0.3
"""Bits below which an answer says nothing either way, as the words have it."""
TRUST_TONES = {
    "signed": "good",
    "unsigned": "warn",
    "signed, then written to": "warn",
    "signed by an unknown key": "warn",
    "wrongly signed": "bad",
}


def case_page(review: Review) -> str:
    """Return a reviewed case as one HTML file."""
    r = _shown(review.as_dict())
    turned = [a for a in r["advice"] if a["became"] != "taken"]
    taken = [a for a in r["advice"] if a["became"] == "taken"]
    where = f"aircraft {r['aircraft']}, engine {r['position']}"
    return _page(
        "case.html",
        title=f"Case {r['case']}: {where}",
        heading=f"Case {r['case']}, {where}: {r['complaint_title'] or r['complaint']}",
        at_foot=f"Case {r['case']}",
        foot=_case_foot(r),
        script=True,
        parts=(
            ("case", "The case"),
            ("firm", "The verdict, and how firm it is"),
            ("story", "The story"),
            ("belief", "What was believed, and when"),
            ("evidence", "What each answer said"),
            *([("readings", "What was measured")] if r["readings"] else []),
            ("not-asked", "What was not asked"),
            ("rules", "Rules that fired"),
            ("guards", "Cautions and gates"),
            ("minutes", "Where the minutes went"),
            ("advice", "Advice, and what became of it"),
            ("cheaper", "Cheaper, by what was known then"),
            ("hindsight", "In hindsight"),
            ("record", "The record"),
        ),
        r=r,
        warned=_warned(r),
        ended=_ended(r),
        firm_line=_firm_line(r),
        trust=_trust(r),
        minutes_line=_minutes_line(r),
        facts=_facts(r),
        zone="UTC",
        weak=_weak(r["firm"]),
        answered=_answered(r),
        carried=any(a["carried"] and a["bits"] for a in r["answers"]),
        story=_story(r["story"]),
        gates=[m for m in r["story"] if m["kind"] == "gate"]
        or [{"seq": f["seq"], "said": f["says"], "more": []} for f in r["rules"] if f["kind"] == "gate"],
        chart=_chart(r),
        spent=_spent(r["spent"]),
        turned=turned,
        taken=taken,
        advice_line=_advice_line(turned, taken),
        hindsight_line=_hindsight_line(r),
        went=[_went(*part) for part in r["hindsight"]["rest"]] if r["hindsight"] else [],
        not_done=_by_reason(r["not_done"]),
    )


def repeats_page(repeats: Repeats) -> str:
    """Return defects that came back, where their parts went and how often they come, as one HTML file."""
    r = _shown(repeats.as_dict())
    groups = [_group(number, repeat) for number, repeat in enumerate(r["repeats"], start=1)]
    more = [("ways", "Where parts went")] * bool(r["ways"]) + [("trends", "Trends")] * bool(r["trends"])
    return _page(
        "repeats.html",
        title="Defects that came back",
        heading="Defects that came back",
        at_foot=f"Defects that came back, {_day(r['until'])}",
        foot=f"From {r['cases']:,} cases. Read back from their trails; the trails themselves are what counts.",
        parts=[*[(g["ref"], g["title"]) for g in groups], *more],
        r=r,
        short=_repeats_short(r),
        groups=groups,
        trends=[{**t, "strip": _strip(f"trend-{i}", t, small=True)} for i, t in enumerate(r["trends"], start=1)],
    )


def fleet_page(fleet: Fleet) -> str:
    """Return fleet figures as one HTML file."""
    f = _shown(fleet.as_dict())
    rows = [{**f["whole"], "name": "All together"}, *f["groups"]]
    sections = _fleet_sections(f, rows)
    by = {"engine": "by engine type", "station": "by station", "knowledge": "by version of the knowledge"}[f["by"]]
    return _page(
        "fleet.html",
        title=f"Fleet figures, {by}",
        heading=f"Fleet figures, {by}",
        at_foot=f"Fleet figures, {by}",
        foot="Worked out from cases in brief; the trails themselves are what counts.",
        parts=[("groups", "What was counted"), *[(s["ref"], s["heading"]) for s in sections]],
        f=f,
        by=by,
        by_heading={"engine": "Engine type", "station": "Station", "knowledge": "Knowledge"}[f["by"]],
        short=_fleet_short(f),
        rows=rows,
        sections=sections,
    )


# -- what a case page says -------------------------------------------------------------------------


def _warned(r: Mapping[str, Any]) -> list[str]:
    """What nobody may overlook, before all else."""
    trust = r["trust"]
    lines: list[str] = []
    if trust and not trust["whole"]:
        lines.append("The trail is broken: what is shown below may not be what was written.")
    if trust and trust["signed"] == "wrongly signed":
        lines.append("A signature on this trail is wrong.")
    if trust and trust["differs"]:
        lines.append("Replayed, this trail comes out differently from what it holds.")
    for back in r["came_back"]:
        lines.append(f"{'CAME BACK' if back['returned'] else 'TAKEN UP AGAIN'}: {_stop(back['said'])}")
    lines += r["drawn"]
    if r["unmet"]:
        lines.append(r["unmet"])
    if r["hindsight"] and r["hindsight"]["doubt"]:
        lines.append(r["hindsight"]["doubt"])
    if r["forks"]:
        count = len(r["forks"])
        lines.append(f"This case has {count} other {'end' if count == 1 else 'ends'}: it was gone on with elsewhere.")
    return lines


def _ended(r: Mapping[str, Any]) -> str:
    named = [s["title"] for s in r["suspects"] if s["named"]]
    end = _capital(r["end"]) if r["end"] else "Not ended: the case is open"
    return f"{end}. Named: {', '.join(named)}." if named else f"{end}."


def _firm_line(r: Mapping[str, Any]) -> str:
    firm = r["firm"]
    if not firm:
        return "There is no verdict to weigh."
    words = "" if r["end"] else "So far, with the case open: "
    words += f"{firm['title']}, {percent(firm['chance'])}"
    if firm["second_title"]:
        words += f"; {odds_words(firm['odds'])} against the next, {firm['second_title']}"
    rows = firm["rows"] or firm["weak"]
    if not rows:
        return f"{words}. No single thing that was tried would change it."
    none = "No single thing that was tried would change the repair."
    return f"{words}. {none if rows[0]['same_repair'] else _stop(rows[0]['said'])}"


def _weak(firm: Mapping[str, Any] | None) -> list[tuple[str, list[dict[str, Any]]]]:
    """Return what would change the verdict as (heading, rows): first what would change the repair."""
    if not firm:
        return []
    weak = firm["weak"]
    rows = firm["rows"] or [{**w, "of": (place,)} for place, w in enumerate(weak)]
    known = bool(firm["repair"])
    found: list[tuple[str, list[dict[str, Any]]]] = []
    for same in (False, True):
        some = []
        for row in rows:
            of = [weak[place] for place in row["of"] if place < len(weak)]
            if row["same_repair"] is same:
                each = [w["said"] for w in of] if len(of) > 1 else []
                some.append({"said": row["said"], "same_repair": same, "where": _where(of), "each": each})
        heading = f"What would change {'the repair' if known else 'the verdict'}"
        if same:
            heading = "What would change which fault leads, but is put right by the same part and the same repair"
        if some:
            found.append((heading, some))
    return found


def _answered(r: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the rows of the weights of evidence: what was carried in, answers, what else moved the belief, work, sums.

    The sums begin anew at each work: what comes after it is of what is left.
    """
    work = {m["seq"]: m for m in r["story"] if m["kind"] in ("repair", "swap") and not m["void"]}
    answers = {a["seq"]: a for a in r["answers"] if not a["carried"]}
    points = {p["seq"]: p for p in r["belief"]}
    void = {m["seq"] for m in r["story"] if m["void"]}
    rows = [{"kind": "answer", "a": a} for a in r["answers"] if a["carried"]]
    sums, since, asked = [0.0] * len(r["suspects"]), "From the opening", False

    def summed() -> list[dict[str, Any]]:
        if asked and any(abs(total) >= SHOWN for total in sums):
            return [{"kind": "sum", "said": f"{since}, in all", "bits": sums}]
        return []

    for seq in sorted({*work, *answers, *points}):
        bits = points[seq]["bits"] if seq in points else ()
        if seq in work:
            rows += [*summed(), {"kind": "work", "said": f"{_stop(work[seq]['said'])} From here on: of what is left."}]
            sums, since, asked = [0.0] * len(r["suspects"]), "Since that work", False
        elif seq in answers:
            rows.append({"kind": "answer", "a": answers[seq]})
            asked = True
        elif bits and max(map(abs, bits)) >= SHOWN:
            said = f"{points[seq]['after']}{' (taken back since)' if seq in void else ''}"
            rows.append({"kind": "told", "seq": seq, "said": said, "bits": bits})
        if bits:
            sums = [had + more for had, more in zip(sums, bits, strict=True)]
    return rows + summed()


def _where(weak: Iterable[Mapping[str, Any]]) -> str:
    """Return the events of what would change the verdict, or that it was told at the opening."""
    weak = list(weak)
    seqs = sorted({w["seq"] for w in weak if w["seq"]})
    words = [f"{'event' if len(seqs) == 1 else 'events'} {', '.join(map(str, seqs))}"] * bool(seqs)
    words += ["told at the opening"] * any(w["told"] for w in weak)
    return "; ".join(words)


def _trust(r: Mapping[str, Any]) -> dict[str, str]:
    trust = r["trust"]
    if not trust:
        return {"tone": "warn", "mark": "–", "line": "Not proven here."}
    words = ["Whole" if trust["whole"] else "NOT WHOLE"]
    if trust["not_replayed"]:
        words.append(f"not replayed: {trust['not_replayed'].rstrip('.')}")
    elif trust["differs"]:
        words.append("REPLAYS DIFFERENTLY")
    else:
        words.append(f"replayed, {trust['replayed']} events the same")
    words.append(trust["signed"])
    bad = not trust["whole"] or bool(trust["differs"])
    tone = "bad" if bad else TRUST_TONES.get(trust["signed"], "warn")
    if tone == "good" and trust["not_replayed"]:
        tone = "warn"
    return {"tone": tone, "mark": {"good": "✓", "warn": "–", "bad": "✗"}[tone], "line": f"{'; '.join(words)}."}


def _minutes_line(r: Mapping[str, Any]) -> str:
    words = f"{_minutes(r['book'])} by the book, {_minutes(r['clock'])} by the clock"
    if r["isolated"] is not None and r["until"]:
        words += f"; {_minutes(r['isolated'])} until {r['until']} was taken up"
    if r["hindsight"] and r["hindsight"]["steps"]:
        words += f"; with the fault known from the start {_minutes(r['hindsight']['least'])} would have done"
    return f"{words}."


def _facts(r: Mapping[str, Any]) -> list[tuple[str, str]]:
    told = (
        ("Case", r["case"]),
        ("Aircraft", r["aircraft"]),
        ("Engine position", r["position"]),
        ("Engine", r["engine_title"] or r["engine"]),
        ("Complaint", r["complaint_title"] or r["complaint"]),
        ("Channel", r["channel"]),
        ("Operator", r["operator"]),
        ("Station", r["station"]),
        ("Worked at the", r["place"]),
        ("It shows", r["condition"]),
        ("Opened", _when(r["opened"])),
        ("Ended", _when(r["closed"]) if r["closed"] else "not ended"),
        ("Events", str(r["events"])),
        ("Last hash", r["head"][:16]),
        ("Knowledge", r["knowledge"][:12]),
        ("Program", r["program"]),
    )
    return [(name, value) for name, value in told if value]


def _story(moments: Iterable[Mapping[str, Any]]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Return the moments day by day, with mark, word and time of day."""
    days: list[tuple[str, list[dict[str, Any]]]] = []
    for moment in moments:
        day, clock = _day_and_time(moment["time"])
        mark, word = KINDS.get(moment["kind"], ("·", moment["kind"]))
        if not days or days[-1][0] != day:
            days.append((day, []))
        # The word is left out where what was said begins with it already.
        tell = not moment["said"].casefold().startswith(word)
        days[-1][1].append({**moment, "clock_time": clock, "mark": mark, "word": word, "tell": tell})
    return days


def _chart(r: Mapping[str, Any]) -> dict[str, Any] | None:
    points = r["belief"]
    if not points or not r["suspects"]:
        return None
    at: list[float] = []
    for point in points:
        # What was told without taking time stands where the work stood.
        at.append(max(point["at"], at[-1] if at else 0.0))
    lines = [
        Line(number, s["title"], tuple(p["chances"][number - 1] for p in points), s["named"])
        for number, s in enumerate(r["suspects"][:MOST_LINES], start=1)
    ]
    none = tuple(p["none"] for p in points)
    if max(none) >= ALMOST_NONE:
        lines.append(Line(NO_FAULT, "no fault", none))
    turns = [Turn(m["at"], KINDS[m["kind"]][0], m["said"]) for m in r["story"] if m["kind"] in TURNS and not m["void"]]
    until = max([r["book"], at[-1], *(t.at for t in turns)])
    shown = [turn for turn in turns if isfinite(turn.at)]
    return {
        "wide": belief_chart("belief-wide", at, until, lines, shown),
        "narrow": belief_chart("belief-narrow", at, until, lines, shown, wide=False),
        "over": any(sum(p["chances"]) + p["none"] > OVER for p in points),
        "turns": [f"{t.mark} at {_minutes(t.at)}: {t.said.rstrip('.')}" for t in shown],
        "legend": [
            {
                "svg": key(line),
                "label": line.title if line.number == NO_FAULT else f"{line.number} {line.title}",
                "named": line.named,
                "at_end": None if line.number == NO_FAULT else r["suspects"][line.number - 1]["at_end"],
                "first": line.chances[0],
                "last": line.chances[-1],
            }
            for line in lines
        ],
    }


def _spent(spent: Sequence[Mapping[str, Any]]) -> list[tuple[str, str, list[dict[str, Any]], float]]:
    """Return (kind, heading, rows, minutes) of each kind there is, the dearest row first."""
    most = max((s["minutes"] for s in spent), default=0.0)
    found = []
    for kind, heading in SPENT.items():
        rows = sorted((s for s in spent if s["kind"] == kind), key=lambda s: (-s["minutes"], s["title"]))
        if rows:
            drawn = [
                {**s, "bar": bar(s["minutes"] / most if most else 0.0, f"{_minutes(s['minutes'])} of {_minutes(most)}")}
                for s in rows
            ]
            found.append((kind, heading, drawn, sum(s["minutes"] for s in rows)))
    return found


def _advice_line(turned: Sequence[Any], taken: Sequence[Any]) -> str:
    declined = sum(a["became"] == "declined" for a in turned)
    return (
        f"{len(taken)} taken as put, {declined} declined with a reason, "
        f"{len(turned) - declined} passed over for something else."
    )


def _hindsight_line(r: Mapping[str, Any]) -> str:
    hind = r["hindsight"]
    if not hind:
        return ""
    if hind["none"]:
        return _stop(str(hind["none"]))
    if hind["by"] == "nobody":
        return "Nobody says what the fault was."
    was = ", ".join(hind["titles"]) or "nothing at fault"
    return f"It was: {was} (by {hind['by']})."


def _went(what: str, took: float) -> str:
    return f"{_minutes(abs(took))} {'' if took > 0 else 'less '}in {what}"


def _by_reason(not_done: Iterable[Sequence[str]]) -> dict[str, list[str]]:
    """Return reason → titles of the checks that could not be done for it."""
    found: dict[str, list[str]] = {}
    for title, why in not_done:
        found.setdefault(why, []).append(title)
    return found


def _case_foot(r: Mapping[str, Any]) -> str:
    parts = [f"Case {r['case']}", f"{r['events']} events", f"last hash {r['head'][:16]}"]
    return f"{', '.join(part for part in parts if part)}. Read back from its trail; the trail itself is what counts."


# -- what a page of repeats says -------------------------------------------------------------------


def _repeats_short(r: Mapping[str, Any]) -> list[str]:
    within = f"within {r['days']:g} days" + (f" and {r['starts']:g} engine starts" if r["starts"] is not None else "")
    count, more = sum(repeat["about"] == "engine" for repeat in r["repeats"]), r["more"]
    parts = len(r["repeats"]) - count
    found = "No defect came back" if not count else f"{count} {'defect' if count == 1 else 'defects'} came back"
    window = f", {_day(r['since'])} to {_day(r['until'])}" if r["since"] else ""
    lines = [f"{found} {within}, of {r['cases']:,} {'case' if r['cases'] == 1 else 'cases'} looked at{window}."]
    if parts:
        lines.append(f"{parts} {'part was' if parts == 1 else 'parts were'} on several engines that came back.")
    if more:
        lines.append(f"{more} more {'is' if more == 1 else 'are'} not on this page.")
    lines += [c["said"] for repeat in r["repeats"] for c in repeat["confirmed"] if c["open"]]
    lines += [line for way in r["ways"] for line in way["carries"]]
    return lines


def _group(number: int, repeat: Mapping[str, Any]) -> dict[str, Any]:
    """Return a group for the page: its visits few by few, so that they print beside each other."""
    times, visits = repeat["times"], []
    for place, visit in enumerate(repeat["visits"], start=1):
        visits.append({**visit, "number": place, **_visit_words(visit)})
    engine = repeat["engine_title"] or repeat["engine"]
    again = f"came back {'once' if times == 1 else f'{times} times'}" if times else "opened again"
    if not times and any(visit["taken_up"] for visit in visits):
        again = "taken up again"
    about = f"Aircraft {repeat['aircraft']}, engine {repeat['position']} ({engine})"
    if repeat["about"] == "part":
        about = f"Part S/N {repeat['part']}: {', '.join(where.partition(' ')[0] for where in repeat['where'])}"
        again = f"in {len(visits)} cases, on {len(repeat['where'])} engines"
    line = f"{_capital(again)}, {len(visits)} visits."
    if repeat["reasons"]:
        line += f" {_stop(_capital('; '.join(repeat['reasons'])))}"
    return {
        "ref": f"group-{number}",
        "title": f"{about}: {again}",
        "line": line,
        "repeat": repeat,
        "visits": [visits[i : i + BESIDE] for i in range(0, len(visits), BESIDE)],
        "strip": _strip(f"group-{number}-trend", repeat["trend"]) if repeat["trend"] else "",
    }


def _visit_words(visit: Mapping[str, Any]) -> dict[str, Any]:
    about = visit["complaint_title"] or visit["complaint"]
    about += f", channel {visit['channel']}" if visit["channel"] else ""
    about += f"; shows {visit['condition']}" if visit["condition"] not in ("", "steady") else ""
    place = f"at the {visit['place']}" if visit["place"] else ""
    end = f"{visit['end'] or 'ended'}, {_when(visit['closed'])}" if visit["closed"] else "still open"
    if visit["remaining"] is not None:
        end += f"; {percent(visit['remaining'])} that a fault remained"
    return {
        "because": [f"{reason['said']} (case {reason['case']})" for reason in visit["reasons"]],
        "worked": ", ".join(part for part in (place, visit["station"]) if part),
        "about": about,
        "ended": _capital(end),
    }


def _strip(name: str, trend: Mapping[str, Any], small: bool = False) -> str:
    title = f"When it came: {trend['title']}" if trend["title"] else "When it came"
    return strip(name, title, trend["times"], trend["window"], "days", small)


# -- what a page of fleet figures says -------------------------------------------------------------


def _fleet_short(f: Mapping[str, Any]) -> list[str]:
    whole = f["whole"]
    span = f" from {f['since']}" * bool(f["since"]) + f" to {f['until']}" * bool(f["until"])
    about = f", {f['engine_title'] or f['engine']} only" if f["engine"] else ""
    return [
        f"{whole['cases']:,} cases{span}{about}; {whole['closed']:,} closed.",
        f"Time to isolate: {_stop(whole['isolated']['said'])}",
        f"Parts replaced in vain: {_stop(whole['in_vain']['share']['said'])}",
        f"No fault found (removed, and the shop found nothing): {_stop(whole['cleared']['said'])}",
        f"No fault named: {_stop(whole['unfound']['said'])}",
        f"Came back within {f['days']:g} days and {f['starts']:g} starts: {_stop(whole['came_back']['share']['said'])}",
        f"A figure with its interval (95%) and the cases it rests on; below {f['least']} cases it says too few.",
    ]


def _fleet_sections(f: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    from isolate.review.turned import RIGHT

    spreads = (
        (
            "isolated",
            "Time to isolate",
            "Book minutes until the move was taken up that the end names as right, where that came and held.",
        ),
        ("ended", "Minutes to the end", "Book minutes to the end of the case, verification and closing up included."),
    )
    sections = [_spread_section(name, heading, about, rows) for name, heading, about in spreads]
    back = (
        f"Of the cases that ended verified: those whose defect came back within {f['days']:g} days and "
        f"{f['starts']:g} engine starts. Days run from the end of the one case to the opening of the next, starts from "
        "opening to opening; where the starts are not told, the days alone count. Deferred or handed over cases are "
        "counted apart: how many were taken up again as soon."
    )
    sections += [
        _share_section(
            "in-vain",
            "Parts replaced in vain",
            "Parts that were probably good, of those that the verdict or the shop says anything of.",
            [(g["name"], g["in_vain"]["share"]) for g in rows],
            ("Minutes of parts", "By the shop", "Nothing said"),
            [(_figure(v["minutes"], 0), f"{v['by_shop']:,}", f"{v['unsaid']:,}") for v in (g["in_vain"] for g in rows)],
        ),
        _share_section(
            "cleared",
            "No fault found: removed, and the shop found nothing",
            "Parts with nothing wrong, of those that came off and that the shop has reported on.",
            [(g["name"], g["cleared"]) for g in rows],
        ),
        _share_section(
            "unfound",
            "No fault named",
            "Closed cases that were verified with no fault named.",
            [(g["name"], g["unfound"]) for g in rows],
        ),
        _share_section(
            "came-back",
            "Repeats",
            back,
            [(g["name"], g["came_back"]["share"]) for g in rows],
            ("By days alone", "Too late to tell", "Deferred or handed over", "Taken up again"),
            [
                tuple(f"{b[name]:,}" for name in ("days_only", "unwatched", "unproven", "taken_up"))
                for b in (g["came_back"] for g in rows)
            ],
        ),
    ]
    for place, kind in enumerate(f["whole"]["declined"]):
        if not kind["times"]:
            continue
        sections.append(
            _share_section(
                f"declined-{place + 1}",
                kind["title"],
                RIGHT,
                [(g["name"], g["declined"][place]["right"]) for g in rows],
                ("Times", "Not judged", "Of those taken, by the same measure"),
                [
                    (f"{d['times']:,}", f"{d['unjudged']:,}", d["taken"]["said"] if d["taken"]["of"] else "–")
                    for d in (g["declined"][place] for g in rows)
                ],
            )
        )
    return sections


def _spread_section(name: str, heading: str, about: str, rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    drawn = [
        Ranged(
            g["name"], None if g[name]["few"] else g[name]["median"], g[name]["low"], g[name]["high"], g[name]["said"]
        )
        for g in rows
    ]
    cells = []
    for g in rows:
        s = g[name]
        figures = [_figure(v, 0) if v is not None else "–" for v in (s["lower"], s["upper"], s["least"], s["most"])]
        cells.append((g["name"], (s["said"], f"{figures[0]} to {figures[1]}", f"{figures[2]} to {figures[3]}")))
    return {
        "ref": name,
        "heading": heading,
        "about": about,
        "chart": ranges(f"{name}-chart", f"{heading}: median and its interval", drawn, unit=" min"),
        "caption": "◆ the median, with the interval that holds it with 95%.",
        "columns": ("Median, with its interval", "Middle half, min", "All, min"),
        "rows": cells,
    }


def _share_section(
    ref: str,
    heading: str,
    about: str,
    shares: Sequence[tuple[str, Mapping[str, Any]]],
    columns: Sequence[str] = (),
    more: Sequence[Sequence[str]] = (),
) -> dict[str, Any]:
    drawn = [
        Ranged(
            name,
            None if s["few"] or s["share"] is None else 100 * s["share"],
            100 * (s["low"] or 0.0),
            100 * (s["high"] or 0.0),
            s["said"],
        )
        for name, s in shares
    ]
    cells = more or [()] * len(shares)
    return {
        "ref": ref,
        "heading": heading,
        "about": about,
        "chart": ranges(f"{ref}-chart", f"{heading}: share and its interval", drawn, most=100.0, unit="%"),
        "caption": "◆ the share, with the interval that holds it with 95%.",
        "columns": ("Share, with its interval", *columns),
        "rows": [(name, (s["said"], *extra)) for (name, s), extra in zip(shares, cells, strict=True)],
    }


# -- words and figures -----------------------------------------------------------------------------


def _shown(told: Any) -> Any:
    """Return what was told with all its words as they may be shown; line ends are kept."""
    if isinstance(told, str):
        return plain(told.replace("\r\n", "\n"), lines=True)
    if isinstance(told, Mapping):
        return {key: _shown(value) for key, value in told.items()}
    return [_shown(value) for value in told] if isinstance(told, list | tuple) else told


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _stop(words: str) -> str:
    return words if words.endswith((".", "?", "!")) else f"{words}."


def _asked(title: str) -> str:
    """A title before its answer."""
    return title if title.endswith("?") else f"{title}:"


def _figure(value: float, most: int = 1) -> str:
    """A figure without needless places, with the sign for minus."""
    if not isfinite(value):
        return "–"
    words = f"{value:.{most}f}"
    words = words.rstrip("0").rstrip(".") if "." in words else words
    return "0" if words == "-0" else words.replace("-", "−")


def _reading(figure: Mapping[str, Any]) -> str:
    """A figure of a reading with its interval."""
    return figured(figure).replace("-", "−") if (figure["value"] or 0) < 0 else figured(figure)


def _minutes(value: float) -> str:
    return f"{_figure(value)} min"


def _signed(value: float) -> str:
    words = _figure(value)
    return words if words[0] in "−–" or words == "0" else f"+{words}"


def _bits(value: float) -> str:
    words = f"{abs(value):.1f}" if isfinite(value) else "–"
    return words if words in ("0.0", "–") else f"{'+' if value > 0 else '−'}{words}"


def _side(bits: float) -> str:
    return "" if abs(bits) < SAYS_NOTHING else "up" if bits > 0 else "down"


def _day_and_time(time: str) -> tuple[str, str]:
    try:
        when = parse_time(time).astimezone(UTC)
    except (EventError, ValueError, OverflowError):
        return "Time not readable", time
    return f"{when:%Y-%m-%d}", f"{when:%H:%M}"


def _day(time: str) -> str:
    """The day of a time; an empty time stays empty."""
    if not time:
        return ""
    day, clock = _day_and_time(time)
    return day if clock != time else time


def _count(value: int) -> str:
    return f"{value:,}"


def _when(time: str) -> str:
    day, clock = _day_and_time(time)
    return f"{day} {clock} UTC" if clock != time else time


# -- the pages -------------------------------------------------------------------------------------


def _page(template: str, *, at_foot: str, script: bool = False, **words: Any) -> str:
    """Fill a template in. ``at_foot``: stands at the foot of each printed page."""
    source = _source("page.css") + _printed_foot(at_foot)
    run = _source("page.js") if script else ""
    policy = [
        "default-src 'none'",
        f"style-src '{_hash(source)}'",
        *([f"script-src '{_hash(run)}'"] if run else []),
        "base-uri 'none'",
        "form-action 'none'",
    ]
    made: str = (
        _templates()
        .get_template(template)
        .render(policy="; ".join(policy), style=source, script=run, governs=GOVERNS, **words)
    )
    return made


def _printed_foot(words: str) -> str:
    # Nothing that could end the string, the rule or the style is let into it.
    safe = re.sub(r"[^\w .,:@/-]", "?", words)[:60]
    left = f'@bottom-left {{ content: "{safe}"; {_FOOT} }}'
    return f'@page {{ {left} @bottom-right {{ content: counter(page) " of " counter(pages); {_FOOT} }} }}\n'


_FOOT = "font: 8pt Arial, Helvetica, sans-serif; color: #000;"


def _hash(source: str) -> str:
    return f"sha256-{base64.b64encode(sha256(source.encode()).digest()).decode()}"


@cache
def _source(name: str) -> str:
    loader = _templates().loader
    assert loader is not None
    return loader.get_source(_templates(), name)[0]


@cache
def _templates() -> Environment:
    """Return the templates. What is put into them is escaped, but for what this module marks as safe itself."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("isolate.review", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        percent=percent,
        minutes=_figure,
        signed=_signed,
        bits=_bits,
        odds=odds_words,
        side=_side,
        asked=_asked,
        label=label,
        reading=_reading,
        day=_day,
        count=_count,
    )
    return made

"""The least expected cost of a decision problem by trying everything, to hold the solvers against.

It shares no line with what it checks: it reads the fields of a :class:`~isolate.reasoning.problem.Problem` and works
out crossings, answers and beliefs by itself, as that module's docstring defines them. Masses are not normalised: the
cost from a position is that share of the whole expected cost which falls there. A move is skipped only where a sum
that no case can stay below has already reached the best so far: what was paid, and what each state would cost from
there if it were told and every move could be made any number of times. Moves are tried in the order of that sum, so
that few have to be followed; that nothing is lost by it, the two brute forces show on each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from operator import mul

from isolate.reasoning.problem import Problem, Way

Masses = tuple[float, ...]


def cross(ways: Sequence[Way], opened: int, needs: int, shut: int) -> tuple[float, int]:
    """Return (minutes, open set after) of getting ``needs`` open and ``shut`` shut, by hand, a crossing at a time."""
    spent, now = 0.0, opened

    def close(i: int) -> None:
        nonlocal spent, now
        if now >> i & 1:
            for j, way in enumerate(ways):
                if way.needs >> i & 1:
                    close(j)
            spent += ways[i].close if ways[i].lasting else 0.0
            now &= ~(1 << i)

    def open_up(i: int) -> None:
        nonlocal spent, now
        if not now >> i & 1:
            for j in range(len(ways)):
                if ways[i].shut >> j & 1:
                    close(j)
        for j in range(len(ways)):
            # Also of what is open already: a check may have spoiled what is under it.
            if ways[i].needs >> j & 1:
                open_up(j)
        if not now >> i & 1:
            spent += ways[i].open
            now |= 1 << i

    for i in range(len(ways)):
        if shut >> i & 1:
            close(i)
    for i in range(len(ways)):
        if needs >> i & 1:
            open_up(i)
    return spent, now


def optimum(problem: Problem) -> float:
    """Return the least expected cost of a problem of single faults in which each repair is proven at once.

    State 0 is clear; each repair is done once and clears one state; each check is asked once; the verification does
    not err. Raises ValueError where that is not so.
    """
    ways, n = problem.access, len(problem.states)
    clear = [bool(c) for c in problem.clear]
    passes = [float(x) for x in problem.verify.likelihood[0]]
    if not problem.prove_each or clear != [h == 0 for h in range(n)] or passes != [float(c) for c in clear]:
        raise ValueError("state 0 alone is to be clear, and the verification to follow each repair and be sure")
    if problem.hands != 1 or problem.proven or problem.remaining <= 0:
        raise ValueError("one pair of hands, nothing proven yet, and a little that may remain")
    cures = []
    for repair in problem.repairs:
        moved = [h for h in range(n) if int(repair.to[h]) != h]
        if len(moved) != 1 or int(repair.to[moved[0]]) != 0 or repair.most != 1 or repair.renews:
            raise ValueError(f"repair {repair.name} is to clear one state, once")
        cures.append((moved[0], float(repair.success)))
    if any(check.most != 1 for check in problem.checks):
        raise ValueError("each check is to be asked once")

    sets = range(1 << len(ways))
    closing = [cross(ways, opened, 0, opened)[0] for opened in sets]
    verify = problem.verify

    def made(opened: int, *steps: object) -> tuple[float, int]:
        """Return (minutes, open set after) of steps in turn, crossings and own minutes."""
        spent = 0.0
        for step in steps:
            cost, opened = cross(ways, opened, step.needs, step.shut)  # type: ignore[attr-defined]
            spent += cost + step.cost  # type: ignore[attr-defined]
            opened &= ~step.spoils  # type: ignore[attr-defined]
        return spent, opened

    # moves[opened]: what each check, each repair with the verification behind it, and verifying alone, cost there.
    asking = [[made(opened, check) for check in problem.checks] for opened in sets]
    mending = [[made(opened, repair, verify) for repair in problem.repairs] for opened in sets]
    proving = [made(opened, verify) for opened in sets]
    likelihoods = [[[float(x) for x in row] for row in check.likelihood] for check in problem.checks]
    # A pass is sure, so it ends the case; an end that is there only while a pass stands is never reached.
    ends = [[float(x) for x in end.cost] for end in problem.ends if not end.proven]

    def told_costs() -> tuple[list[Masses], list[Masses]]:
        """Return what each state costs from each open set if it is told: its repair not tried yet, and tried.

        Checks are made for what they open and shut alone, and like other repairs as often as one likes.
        """
        both: list[list[list[float]]] = []
        for tried in (True, False):
            costs = [[closing[opened] + min(end[h] for end in ends) for h in range(n)] for opened in sets]
            both.append(costs)
            changed = True
            while changed:
                changed = False
                for opened in sets:
                    for h in range(n):
                        best = costs[opened][h]
                        for now, after in (*asking[opened], proving[opened]):
                            best = min(best, now + costs[after][h])
                        if h == 0:
                            best = min([best, *(now + closing[after] for now, after in mending[opened])])
                            now, after = proving[opened]
                            best = min(best, now + closing[after])
                        for (fault, success), (now, after) in zip(cures, mending[opened], strict=True):
                            if fault != h:
                                best = min(best, now + (closing[after] if h == 0 else costs[after][h]))
                            elif not tried:
                                best = min(best, now + success * closing[after] + (1 - success) * both[0][after][h])
                        if best < costs[opened][h]:
                            costs[opened][h] = best
                            changed = True
        return [tuple(c) for c in both[1]], [tuple(c) for c in both[0]]

    fresh, failed_once = told_costs()
    # A position as one number: which outcome each check had (0: not asked), then which repairs were tried, then what
    # is open, then whether a verification failed.
    digits, place = [], 1
    for table in likelihoods:
        digits.append(place)
        place *= len(table) + 1
    known: dict[tuple[int, int, int, bool], float] = {}

    def told_at(opened: int, tried: int) -> Masses:
        """Return what each state costs from there if it is told."""
        costs = list(fresh[opened])
        for i, (h, _) in enumerate(cures):
            if tried >> i & 1:
                costs[h] = failed_once[opened][h]
        return tuple(costs)

    laid: dict[tuple[int, int], list[tuple[str, int, Masses, float, int, Masses]]] = {}

    def moves(opened: int, tried: int) -> list[tuple[str, int, Masses, float, int, Masses]]:
        """Return (kind, which, least for each state, minutes now, open set after, least from there) of each move."""
        found = laid.get((opened, tried))
        if found is None:
            found = laid[opened, tried] = []
            for i, (now, after) in enumerate(asking[opened]):
                told = told_at(after, tried)
                found.append(("check", i, tuple([now + x for x in told]), now, after, told))
            for i, (now, after) in enumerate(mending[opened]):
                if not tried >> i & 1:
                    h, success = cures[i]
                    told = told_at(after, tried | 1 << i)
                    least = [now + x for x in told]
                    least[0] = now + closing[after]
                    least[h] = now + success * closing[after] + (1 - success) * told[h]
                    found.append(("repair", i, tuple(least), now, after, told))
            now, after = proving[opened]
            told = told_at(after, tried)
            found.append(("verify", 0, (now + closing[after], *(now + x for x in told[1:])), now, after, told))
        return found

    def value(told: int, tried: int, opened: int, failed: bool, mass: Masses) -> float:
        total = sum(mass)
        best = closing[opened] * total + min([_dot(mass, end) for end in ends])
        open_to = []
        for kind, i, least, now, after, rest in moves(opened, tried):
            if kind == "check":
                if told // digits[i] % (len(likelihoods[i]) + 1):
                    continue
            elif kind == "verify" and failed:
                continue
            lower = _dot(mass, least)
            if lower < best:
                open_to.append((lower, kind, i, now, after, rest))
        open_to.sort()
        for lower, kind, i, now, after, rest in open_to:
            if lower >= best:
                break
            if kind == "check":
                cost = lower
                for outcome, row in enumerate(likelihoods[i]):
                    if cost >= best:
                        break
                    then = tuple(map(mul, mass, row))
                    key = (told + digits[i] * (outcome + 1), tried, after, failed)
                    ahead = known.get(key)
                    cost += (value(*key, then) if ahead is None else ahead) - _dot(then, rest)
            else:
                if kind == "repair":
                    h, success = cures[i]
                    key = (told, tried | 1 << i, after, True)
                    left = (0.0, *mass[1:h], (1 - success) * mass[h], *mass[h + 1 :])
                    cleared = mass[0] + success * mass[h]
                else:
                    key, left, cleared = (told, tried, after, True), (0.0, *mass[1:]), mass[0]
                ahead = known.get(key)
                cost = now * total + closing[after] * cleared + (value(*key, left) if ahead is None else ahead)
            best = min(best, cost)
        known[told, tried, opened, failed] = best
        return best

    return value(0, 0, problem.open, False, tuple(float(x) for x in problem.p))


def _dot(one: Sequence[float], other: Sequence[float]) -> float:
    return sum(map(mul, one, other))


def optimum_of_any(problem: Problem) -> float:
    """Return the least expected cost of any problem for one pair of hands, by recursion over beliefs.

    Here the belief is normalised. What is remembered is remembered by belief (to twelve decimals), answers on this
    occasion, repairs done, what is open, verifications on this occasion and whether the last one passed.
    """
    if problem.hands != 1:
        raise ValueError("one pair of hands")
    ways, n = problem.access, len(problem.states)
    sets = range(1 << len(ways))
    clear = [bool(c) for c in problem.clear]
    ends = [[float(x) for x in end.cost] for end in problem.ends]
    only_proven = [end.proven for end in problem.ends]
    first = [
        [[float(x) for x in row] for row in (c.likelihood if c.first is None else c.first)] for c in problem.checks
    ]
    verify, checks, repairs = problem.verify, problem.checks, problem.repairs
    proof = [[float(x) for x in row] for row in verify.likelihood]
    targets = [([int(x) for x in r.to], float(r.success)) for r in repairs]
    crossed = [
        [[cross(ways, o, m.needs, m.shut) for m in moves] for moves in (checks, repairs, (verify,))] for o in sets
    ]
    closing = [cross(ways, opened, 0, opened)[0] for opened in sets]
    minutes = [
        [[(cost + m.cost, after & ~m.spoils) for (cost, after), m in zip(had, moves, strict=True)]
         for had, moves in zip(crossed[o], (checks, repairs, (verify,)), strict=True)]
        for o in sets
    ]  # fmt: skip

    def told_costs() -> list[list[list[float]]]:
        """Return costs[proven][open set][state]: what no case costs less than from there if its state is told.

        Costs over so many moves, and nothing after them: with every move more they rise to what is wanted.
        """
        costs = [[[0.0] * n for _ in sets] for _ in (False, True)]
        for _ in range(100):
            changed = 0.0
            for proven, o, h in product((False, True), sets, range(n)):
                ways_on = [
                    closing[o] + end[h] for end, late in zip(ends, only_proven, strict=True) if proven or not late
                ]
                if proven:
                    ways_on.append(closing[o] + (0.0 if clear[h] else problem.missed))
                by_check, by_repair, ((now, after),) = minutes[o]
                ways_on += [now + costs[proven][after][h] for now, after in by_check]
                for (to, success), (cost, then) in zip(targets, by_repair, strict=True):
                    ways_on.append(cost + (1 - success) * costs[0][then][h] + success * costs[0][then][to[h]])
                ways_on.append(now + proof[0][h] * costs[1][after][h] + (1 - proof[0][h]) * costs[0][after][h])
                best = min(ways_on)
                changed = max(changed, best - costs[proven][o][h])
                costs[proven][o][h] = best
            if changed < 1e-9:
                break
        return costs

    told = told_costs()
    laid: dict[tuple[int, bool], list[tuple[str, int, list[float], float, int, list[list[float]]]]] = {}

    def moves(opened: int, proven: bool) -> list[tuple[str, int, list[float], float, int, list[list[float]]]]:
        """Return (kind, which, least for each state, minutes now, open set after, least from there by answer)."""
        found = laid.get((opened, proven))
        if found is None:
            found = laid[opened, proven] = []
            by_check, by_repair, ((now, after),) = minutes[opened]
            failed, passed = told[0][after], told[1][after]
            least = [now + x * good + (1 - x) * bad for x, good, bad in zip(proof[0], passed, failed, strict=True)]
            found.append(("verify", 0, least, now, after, [passed] + [failed] * (len(proof) - 1)))
            for i, (now, after) in enumerate(by_repair):
                rest, (to, success) = told[0][after], targets[i]
                least = [now + (1 - success) * rest[h] + success * rest[to[h]] for h in range(n)]
                found.append(("repair", i, least, now, after, [rest]))
            for i, (now, after) in enumerate(by_check):
                rest = told[proven][after]
                found.append(("check", i, [now + x for x in rest], now, after, [rest] * len(first[i])))
        return found

    rows_of: dict[tuple[int, tuple[int, ...]], list[list[float]]] = {}
    known: dict[object, float] = {}

    def chance(check: int, answers: tuple[int, ...], h: int) -> float:
        """Return P(these answers in turn | state h): the first over again with share ``same``, else fresh trials."""
        share = checks[check].same
        if not answers:
            return 1.0
        product = 1.0
        for answer in answers:
            product *= first[check][answer][h]
        alike = first[check][answers[0]][h] if len(set(answers)) == 1 else 0.0
        return share * alike + (1 - share) * product

    def next_answer(check: int, had: tuple[int, ...]) -> list[list[float]]:
        """Return P(next answer | answers had, state), a row an answer."""
        found = rows_of.get((check, had))
        if found is None:
            found = rows_of[check, had] = [
                [chance(check, (*had, k), h) / max(chance(check, had, h), 1e-300) for h in range(n)]
                for k in range(len(first[check]))
            ]
        return found

    def value(
        p: Masses,
        opened: int,
        asked: tuple[tuple[int, ...], ...],
        done: tuple[int, ...],
        proofs: int,
        proven: bool,
    ) -> float:
        if proven:
            left = sum([x for x, c in zip(p, clear) if not c])  # noqa: B905 (asked often)
            if left < problem.remaining:
                return closing[opened] + left * problem.missed
        key = (tuple([round(x, 12) for x in p]), opened, asked, done, proofs, proven)
        found = known.get(key)
        if found is not None:
            return found
        # Right behind a repair that is to be proven at once there is the verification and nothing else.
        unproven = problem.prove_each and proofs == 0 and any(done)
        ending = [_dot(p, end) for end, late in zip(ends, only_proven, strict=True) if proven or not late]
        best = float("inf") if unproven else closing[opened] + min(ending)
        open_to = []
        for kind, i, least, now, after, rest in moves(opened, proven):
            if kind == "verify":
                may = proofs < verify.most
            elif kind == "repair":
                may = not unproven and done[i] < repairs[i].most
            else:
                may = not unproven and len(asked[i]) < checks[i].most
            if may and (lower := _dot(p, least)) < best:
                open_to.append((lower, kind, i, now, after, rest))
        open_to.sort()
        for lower, kind, i, now, after, rest in open_to:
            if lower >= best:
                break
            if kind == "repair":
                repair, (to, success) = repairs[i], targets[i]
                moved = [(1 - success) * x for x in p]
                for h, x in enumerate(p):
                    moved[to[h]] += success * x
                anew = tuple([() if repair.renews >> k & 1 else had for k, had in enumerate(asked)])
                more = (*done[:i], done[i] + 1, *done[i + 1 :])
                best = min(best, now + value(tuple(moved), after, anew, more, 0, False))
                continue
            rows = next_answer(i, asked[i]) if kind == "check" else proof
            cost = lower
            for k, (row, ahead) in enumerate(zip(rows, rest, strict=True)):
                if cost >= best:
                    break
                joint = tuple(map(mul, p, row))
                total = sum(joint)
                if total > 0:
                    then = tuple([x / total for x in joint])
                    if kind == "check":
                        had = (*asked[:i], (*asked[i], k), *asked[i + 1 :])
                        here = value(then, after, had, done, proofs, proven)
                    else:
                        here = value(then, after, asked, done, proofs + 1, k == 0)
                    cost += total * here - _dot(joint, ahead)
            best = min(best, cost)
        known[key] = best
        return best

    asked = tuple(check.before for check in problem.checks)
    start = tuple(float(x) for x in problem.p)
    done = (0,) * len(problem.repairs)
    return value(start, problem.open, asked, done, problem.proofs, problem.proven)

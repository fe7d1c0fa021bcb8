"""The least expected cost of a decision problem by trying everything, to hold the solvers against.

It shares no line with what it checks: it reads the fields of a :class:`~isolate.reasoning.problem.Problem` and works
out crossings, answers and beliefs by itself, as that module's docstring defines them. Masses are not normalised: the
cost from a position is that share of the whole expected cost which falls there. A move is skipped only where a sum
that no case can stay below has already reached the best so far: what was paid, and for each state the cheaper of an
end and (a repair, where the state is not clear, and) a verification, with all access free.
"""

from __future__ import annotations

from collections.abc import Sequence

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
    least = [min(end[h] for end in ends) for h in range(n)]
    least[0] = min(least[0], verify.cost)
    for (h, _), repair in zip(cures, problem.repairs, strict=True):
        least[h] = min(least[h], repair.cost + verify.cost)
    # A position as one number: which outcome each check had (0: not asked), then which repairs were tried, then what
    # is open, then whether a verification failed.
    digits, place = [], 1
    for table in likelihoods:
        digits.append(place)
        place *= len(table) + 1
    known: dict[tuple[int, int, int, bool], float] = {}
    checks, repairs = range(len(likelihoods)), range(len(cures))
    bases = [(digits[i], len(likelihoods[i]) + 1, i) for i in checks]

    def value(told: int, tried: int, opened: int, failed: bool, mass: Masses, least_of_all: float) -> float:
        key = (told, tried, opened, failed)
        found = known.get(key)
        if found is not None:
            return found
        total = sum(mass)
        best = closing[opened] * total + min(_dot(mass, end) for end in ends)
        if not failed:
            now, after = proving[opened]
            cost = now * total + closing[after] * mass[0]
            rest = least_of_all - mass[0] * least[0]
            if cost + rest < best:
                cost += value(told, tried, after, True, (0.0, *mass[1:]), rest)
                if cost < best:
                    best = cost
        for i in repairs:
            if tried >> i & 1:
                continue
            h, success = cures[i]
            now, after = mending[opened][i]
            cleared = mass[0] + success * mass[h]
            cost = now * total + closing[after] * cleared
            rest = least_of_all - mass[0] * least[0] - success * mass[h] * least[h]
            if cost + rest < best:
                left = (0.0, *mass[1:h], (1 - success) * mass[h], *mass[h + 1 :])
                cost += value(told, tried | 1 << i, after, True, left, rest)
                if cost < best:
                    best = cost
        for digit, base, i in bases:
            if told // digit % base:
                continue
            now, after = asking[opened][i]
            cost = now * total + least_of_all
            for outcome, row in enumerate(likelihoods[i]):
                if cost >= best:
                    break
                then = tuple([m * x for m, x in zip(mass, row)])  # noqa: B905 (three times as fast)
                rest = _dot(then, least)
                cost += value(told + digit * (outcome + 1), tried, after, failed, then, rest) - rest
            if cost < best:
                best = cost
        known[key] = best
        return best

    start = tuple(float(x) for x in problem.p)
    return value(0, 0, problem.open, False, start, _dot(start, least))


def _dot(one: Sequence[float], other: Sequence[float]) -> float:
    return sum([a * b for a, b in zip(one, other)])  # noqa: B905 (the same length by construction, and asked often)


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
    # Whatever happens, a state costs no less than this, unless a pass stands: an end, or a pass with the fault missed,
    # or a repair that changes it and then a pass or any end.
    last = min(verify.cost, *(min(end) for end in ends))
    least = []
    for h in range(n):
        changing = [r.cost + last for r, (to, _) in zip(repairs, targets, strict=True) if to[h] != h]
        passing = verify.cost + (0.0 if clear[h] else problem.missed)
        least.append(min([passing, *(end[h] for end in ends), *changing]))
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
        bound = 0.0 if proven else _dot(p, least)
        by_check, by_repair, (by_proof,) = crossed[opened]

        def answered(now: float, rows: list[list[float]], lower: float, after: Sequence[object]) -> None:
            """Take the best from a move with answers; ``after``: the rest of the position after each of them."""
            nonlocal best
            cost = now + lower
            for row, rest in zip(rows, after, strict=True):
                if cost >= best:
                    return
                joint = [x * y for x, y in zip(p, row)]  # noqa: B905
                total = sum(joint)
                if total > 0:
                    then = tuple([x / total for x in joint])
                    cost += total * value(then, *rest) - (_dot(joint, least) if lower else 0.0)  # type: ignore[misc]
            best = min(best, cost)

        for i, repair in enumerate(repairs):
            if unproven or done[i] >= repair.most:
                continue
            cost, after = by_repair[i]
            moved = [0.0] * n
            to, success = targets[i]
            for h, x in enumerate(p):
                moved[h] += (1 - success) * x
                moved[to[h]] += success * x
            cost += repair.cost
            if cost + _dot(moved, least) < best:
                anew = tuple([() if repair.renews >> k & 1 else had for k, had in enumerate(asked)])
                more = (*done[:i], done[i] + 1, *done[i + 1 :])
                best = min(best, cost + value(tuple(moved), after & ~repair.spoils, anew, more, 0, False))
        for i, check in enumerate(checks):
            had = asked[i]
            if len(had) < check.most and not unproven:
                cost, after = by_check[i]
                after &= ~check.spoils
                rows = next_answer(i, had)
                anew = [(*asked[:i], (*had, k), *asked[i + 1 :]) for k in range(len(rows))]
                rests = [(after, answers, done, proofs, proven) for answers in anew]
                answered(cost + check.cost, rows, bound, rests)
        if proofs < verify.most:
            cost, after = by_proof
            after &= ~verify.spoils
            rests = [(after, asked, done, proofs + 1, k == 0) for k in range(len(proof))]
            answered(cost + verify.cost, proof, 0.0, rests)
        known[key] = best
        return best

    asked = tuple(check.before for check in problem.checks)
    start = tuple(float(x) for x in problem.p)
    done = (0,) * len(problem.repairs)
    return value(start, problem.open, asked, done, problem.proofs, problem.proven)

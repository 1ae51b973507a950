"""Critical path and PERT against printed networks."""

from __future__ import annotations

from collections.abc import Hashable

from worksprog.calc.critical_path import (
    Activity,
    Link,
    chance_by,
    critical_path,
    three_point,
)

TAYLOR = "B. W. Taylor, Introduction to Management Science, ch. 8, solutions"
HILLIER = "Hillier & Lieberman, Introduction to Operations Research, Reliable Construction Co."

CPM_1 = {"1-2": 7, "1-3": 10, "2-4": 6, "3-4": 5, "3-5": 4, "4-5": 3, "5-6": 2}
CPM_1_PRINTED = {
    "1-2": (0, 7, 2, 9, 2),
    "1-3": (0, 10, 0, 10, 0),
    "2-4": (7, 13, 9, 15, 2),
    "3-4": (10, 15, 10, 15, 0),
    "3-5": (10, 14, 14, 18, 4),
    "4-5": (15, 18, 15, 18, 0),
    "5-6": (18, 20, 18, 20, 0),
}
CPM_2 = {
    "1-2": 8, "1-3": 10, "1-4": 9, "2-5": 6, "2-6": 4, "3-5": 5, "4-5": 0,
    "4-7": 7, "5-7": 12, "5-8": 15, "6-9": 18, "7-8": 4, "8-9": 7,
}  # fmt: skip
CPM_2_FLOATS = {
    "1-2": 1, "1-3": 0, "1-4": 6, "2-5": 1, "2-6": 8, "3-5": 0, "4-5": 6,
    "4-7": 11, "5-7": 0, "5-8": 1, "6-9": 8, "7-8": 0, "8-9": 0,
}  # fmt: skip
CPM_2_FREE = {"2-5": 1, "4-5": 6, "4-7": 11, "5-8": 1, "6-9": 8}


def on_arrows(arcs):
    """An activity-on-arrow network: an arc waits for every arc that ends where it begins."""
    activities = [Activity(name, duration) for name, duration in arcs.items()]
    links = [
        Link(before, after)
        for before in arcs
        for after in arcs
        if before.split("-")[1] == after.split("-")[0]
    ]
    return critical_path(activities, links)


def test_taylor_network_one(outside):
    path = on_arrows(CPM_1)
    outside(
        quantity="CPM-1 length", expected=20, got=path.length, tolerance=0, source=f"{TAYLOR} (C)"
    )
    for name, printed in CPM_1_PRINTED.items():
        time = path.times[name]
        got = (
            time.early_start,
            time.early_finish,
            time.late_start,
            time.late_finish,
            time.total_float,
        )
        for label, want, have in zip(("ES", "EF", "LS", "LF", "TF"), printed, got, strict=True):
            outside(
                quantity=f"CPM-1 {label} of {name}",
                expected=want,
                got=have,
                tolerance=0,
                source=f"{TAYLOR} (C)",
            )
    assert path.critical == ("1-3", "3-4", "4-5", "5-6")


def test_taylor_network_two_keeps_its_moment_of_no_duration(outside):
    path = on_arrows(CPM_2)
    outside(
        quantity="CPM-2 length", expected=38, got=path.length, tolerance=0, source=f"{TAYLOR} (C)"
    )
    for name, total in CPM_2_FLOATS.items():
        outside(
            quantity=f"CPM-2 total float of {name}",
            expected=total,
            got=path.times[name].total_float,
            tolerance=0,
            source=f"{TAYLOR} (C)",
        )
        assert path.times[name].free_float == CPM_2_FREE.get(name, 0)


def test_reliable_construction_by_three_points(outside):
    triples = {
        "A": (1, 2, 3), "B": (2, 3.5, 8), "C": (6, 9, 18), "D": (4, 5.5, 10), "E": (1, 4.5, 5),
        "F": (4, 4, 10), "G": (5, 6.5, 11), "H": (5, 8, 17), "I": (3, 7.5, 9), "J": (3, 9, 9),
        "K": (4, 4, 4), "L": (1, 5.5, 7), "M": (1, 2, 3), "N": (5, 5.5, 9),
    }  # fmt: skip
    before = {
        "B": "A", "C": "B", "D": "C", "E": "C", "F": "E", "G": "D", "H": "EG", "I": "C",
        "J": "FI", "K": "J", "L": "J", "M": "H", "N": "KL",
    }  # fmt: skip
    points = {key: three_point(*triple) for key, triple in triples.items()}
    links = [Link(low, high) for high, lows in before.items() for low in lows]
    path = critical_path([Activity(key, mean) for key, (mean, _) in points.items()], links)
    variances: dict[Hashable, float] = {key: variance for key, (_, variance) in points.items()}
    variance, chance = chance_by(path, links, variances, 47)
    checks = [
        ("PERT-1 mean", 44, path.length, 1e-9, "weeks"),
        ("PERT-1 variance", 9, variance, 1e-9, ""),
        ("PERT-1 chance of 47 weeks", 0.8413, chance, 1e-4, ""),
        ("PERT-1 float of K", 1, path.times["K"].total_float, 1e-9, "weeks"),
        ("PERT-1 float of I", 2, path.times["I"].total_float, 1e-9, "weeks"),
    ]
    for quantity, expected, got, tolerance, unit in checks:
        outside(
            quantity=quantity,
            expected=expected,
            got=got,
            tolerance=tolerance,
            unit=unit,
            source=f"{HILLIER} (durations and deadline C, triples and answer M)",
        )
    assert path.critical == tuple("ABCEFJLN")
    for key in "DGHM":
        assert abs(path.times[key].total_float - 4) < 1e-9

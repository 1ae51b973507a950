"""The goals of a plan that the manager puts in order."""

from __future__ import annotations

from collections.abc import Sequence

CLOSING = "closing"
OUT_OF_PLAY = "out_of_play"
STEADY = "steady"
GOALS = {
    CLOSING: "finish early what closes holes",
    OUT_OF_PLAY: "few days out of play",
    STEADY: "whole gangs",
}


def in_full(wanted: Sequence[str]) -> list[str]:
    """The goals in the manager's order; those not named come after, as listed."""
    order = [one for one in wanted if one in GOALS]
    return order + [one for one in GOALS if one not in order]

"""What a file of features says beyond their shapes, handed to the floor above that keeps it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from worksprog.clubs.models import User
from worksprog.course.models import Feature
from worksprog.course.reading.features import FeatureRow, FeaturesRead
from worksprog.course.reading.results import Refusal


def _nothing(features: Mapping[str, Feature], by: User | None, label: str) -> None:
    return None


@dataclass(frozen=True, eq=False)
class Brought:
    """What would be kept of a file beside its shapes.

    accepted  the rows still to be features, with what was found for them
    refusals  rows whose figures cannot be
    levelled  rows whose levels are kept
    save      keeps the figures, in the transaction that saves the features (by row)
    """

    accepted: tuple[FeatureRow, ...]
    refusals: tuple[Refusal, ...] = ()
    notices: tuple[str, ...] = ()
    levelled: frozenset[str] = frozenset()
    save: Callable[[Mapping[str, Feature], User | None, str], None] = _nothing


class Keeper(Protocol):
    """layers: names of layers that hold no features but figures of them."""

    @property
    def layers(self) -> frozenset[str]: ...

    def look(self, read: FeaturesRead) -> Brought: ...


_keepers: dict[str, Keeper] = {}


def register_keeper(name: str, keeper: Keeper) -> None:
    """Said once by an app when it is ready; course itself knows none of them."""
    _keepers[name] = keeper


def keepers() -> tuple[Keeper, ...]:
    return tuple(_keepers.values())


def layers_beside() -> frozenset[str]:
    return frozenset[str]().union(*(keeper.layers for keeper in _keepers.values()))

"""A drain drawn by mistake goes with its levels; what anything rests on stays."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from tests.cast import Cast
from tests.drainage.conftest import Drain
from tests.drainage.drawn import draw_pipe
from tests.drainage.test_as_built import keep
from worksprog.clubs.models import Change
from worksprog.course.models import Feature
from worksprog.course.services import drop_feature
from worksprog.drainage.models import DrainReach
from worksprog.drainage.services import set_reach


def test_its_levels_and_sizes_go_with_it_and_stay_on_the_record(cast: Cast) -> None:
    pipe = draw_pipe(cast.club, cast.manager, "X1", (0, 0), (9, 0))
    drop_feature(feature=pipe, by=cast.manager)
    assert not DrainReach.objects.exists()
    removed = Change.objects.filter(action="removed")
    assert {row.kind for row in removed} == {"feature", "drainreach"}
    assert removed.get(kind="drainreach").details["upstream_invert_m"] == 51.0


def test_with_levels_taken_on_site_it_stays(cast: Cast, drain: Drain) -> None:
    keep(cast, drain.lower, 50.9, 1.0)
    with pytest.raises(ValidationError, match=r"rests on it: as built level invert 50\.900 m"):
        drop_feature(feature=drain.lower, by=cast.manager)
    assert DrainReach.objects.filter(feature=drain.lower).exists()
    assert not Change.objects.filter(action="removed").exists()


def test_with_a_drain_it_replaces_it_stays(cast: Cast, drain: Drain) -> None:
    new = draw_pipe(cast.club, cast.manager, "N1", (0, 5), (100, 5))
    set_reach(feature=drain.upper, by=cast.manager, replaced_by=new)
    with pytest.raises(ValidationError, match="rests on it: drain reach reach P1"):
        drop_feature(feature=new, by=cast.manager)
    assert Feature.objects.filter(pk=new.pk).exists()

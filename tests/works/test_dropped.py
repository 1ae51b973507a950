"""What work is planned on is not dropped as a mistake."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from tests.cast import Cast
from tests.works.conftest import Works
from worksprog.course.services import drop_feature
from worksprog.drainage.models import DrainReach


def test_a_pipe_with_work_on_it_stays(cast: Cast, works: Works) -> None:
    with pytest.raises(ValidationError, match=r"rests on it: item .*Lay C1"):
        drop_feature(feature=works.pipe, by=cast.manager)
    assert DrainReach.objects.filter(feature=works.pipe).exists()

"""What was built: levels and facts are added, a wrong one by a row that names it, never changed."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from worksprog.calc.as_built import DesignLine, feet_said, level_below_peg
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import save_record
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature, State, Survey
from worksprog.course.services import set_feature_state
from worksprog.drainage.bridge import short_name
from worksprog.drainage.models import AsBuiltFacts, AsBuiltLevel
from worksprog.drainage.photos import clean_photo
from worksprog.drainage.queries.as_built import as_built_of, design_line_of, levelled_nodes

Of, How = AsBuiltLevel.Of, AsBuiltLevel.How

LOWEST_M, HIGHEST_M = -500.0, 9000.0
MOST_OFF_DESIGN_M = 3.0  # what lies further from its design is another drain or a slip
NEAR_DRAIN_M = 60.0
COARSE_PLACE_M = 30.0
OLDEST_DAYS = 366
SAME_TO_M = 0.0005


@dataclass(frozen=True)
class Measured:
    """One level as it was taken on site.

    of, how     as in the row
    level_m     the level itself, or None with the peg's level and the depth below it
    place       easting and northing in the club's grid, or None with a chainage
    """

    of: str
    how: str
    measured_on: datetime.date
    level_m: float | None = None
    peg_level_m: float | None = None
    below_peg_m: float | None = None
    place: tuple[float, float] | None = None
    chainage_m: float | None = None
    level_accuracy_m: float | None = None
    plan_accuracy_m: float | None = None
    note: str = ""


def _refuse(field: str, words: str) -> ValidationError:
    return ValidationError({field: words})


def _level(measured: Measured) -> float:
    if measured.below_peg_m is not None or measured.peg_level_m is not None:
        if measured.below_peg_m is None or measured.peg_level_m is None:
            field = "below_peg_m" if measured.below_peg_m is None else "peg_level_m"
            raise _refuse(field, "A depth below a peg needs both the peg's level and the depth.")
        try:
            level = level_below_peg(
                peg_level_m=measured.peg_level_m, below_peg_m=measured.below_peg_m
            )
        except ValueError as error:
            raise _refuse("below_peg_m", str(error)) from error
        _check_a_level("peg_level_m", measured.peg_level_m)
        return level
    if measured.level_m is None:
        raise _refuse("level_m", "Enter a level, or a peg's level and the depth below it.")
    _check_a_level("level_m", measured.level_m)
    return measured.level_m


def _check_a_level(field: str, level_m: float) -> None:
    if not LOWEST_M <= level_m <= HIGHEST_M:
        raise _refuse(field, f"A level is metres above datum; {level_m:g} cannot be one.")


def _place(
    feature: Feature, design: DesignLine | None, measured: Measured
) -> tuple[float, float, float | None]:
    """Easting, northing and chainage. ValidationError for a place that is not at the drain."""
    if design is None:
        point = feature.geometry
        x, y = measured.place or (point.x, point.y)
        away = math.hypot(x - point.x, y - point.y)
        chainage: float | None = None
    elif measured.chainage_m is not None:
        try:
            x, y = design.place_at(measured.chainage_m)
        except ValueError as error:
            raise _refuse("chainage_m", str(error)) from error
        return x, y, round(measured.chainage_m, 3)
    elif measured.place is None:
        raise _refuse("chainage_m", "Say where: a position, or a chainage along the drain.")
    else:
        x, y = measured.place
        if not (math.isfinite(x) and math.isfinite(y)):
            raise _refuse("place", "The position is not a number.")
        found = design.locate(x, y)
        away, chainage = abs(found.offset_m), round(found.chainage_m, 3)
    if away > NEAR_DRAIN_M:
        far = f"{away / 1000:,.0f} km" if away > 5000 else f"{away:.0f} m"
        raise _refuse(
            "place",
            f"This position lies {far} from {short_name(feature)}; no more than "
            f"{NEAR_DRAIN_M:.0f} m is taken. Choose the drain you stand at, or enter the chainage.",
        )
    if (measured.plan_accuracy_m or 0) > COARSE_PLACE_M and design is not None:
        raise _refuse(
            "place",
            f"The position is only good to {min(measured.plan_accuracy_m or 0, 1e6):.0f} m, too "
            "coarse to say where along the drain it is. Enter the chainage instead.",
        )
    return x, y, chainage


def _check_against_design(
    feature: Feature, design: DesignLine | None, measured: Measured, level: float,
    chainage: float | None,
) -> None:  # fmt: skip
    """Feet and slips of the pen: an invert far from where it was drawn."""
    if measured.of not in (Of.INVERT, Of.BED, Of.CROWN):
        return
    drawn = None if design is None or chainage is None else design.level_at(chainage)
    if drawn is None and design is None:
        row = getattr(feature, "node", None)
        drawn = None if row is None else row.invert_level_m
    if drawn is None:
        return
    if measured.below_peg_m is not None and measured.peg_level_m is not None:
        said = feet_said(measured.below_peg_m, measured.peg_level_m - drawn)
        if said:
            raise _refuse("below_peg_m", f"A depth of {said} Enter it in metres.")
        field = "below_peg_m"
    else:
        said = feet_said(level, drawn)
        if said:
            raise _refuse("level_m", f"A level of {said} Enter it in metres.")
        field = "level_m"
    off = level - drawn
    if abs(off) > MOST_OFF_DESIGN_M:
        raise _refuse(
            field,
            f"This gives {level:.3f} m, which lies {abs(off):.2f} m "
            f"{'above' if off > 0 else 'below'} the design here ({drawn:.2f} m). No more than "
            f"{MOST_OFF_DESIGN_M:g} m is taken: look at the figure, the peg and the drain chosen.",
        )


def _same(row: AsBuiltLevel, feature: Feature, level: float, of: str) -> bool:
    return row.feature_id == feature.pk and row.of == of and abs(row.level_m - level) <= SAME_TO_M


def _checked_row(
    feature: Feature,
    measured: Measured,
    *,
    by: User | None,
    today: datetime.date,
    design: DesignLine | None = None,
    **facts: Any,
) -> AsBuiltLevel:
    """The row that would be kept. ValidationError, naming the field, when it cannot be."""
    if feature.kind not in DRAIN_LINES | DRAIN_NODES:
        raise ValidationError(f"A {feature.get_kind_display()} is no drain.")
    if feature.state == State.REMOVED:
        raise ValidationError(f"{short_name(feature)} is no longer on the course.")
    design = design or design_line_of(feature, levelled_nodes(feature.club))
    if not today - datetime.timedelta(days=OLDEST_DAYS) <= measured.measured_on <= today:
        raise _refuse(
            "measured_on",
            f"{measured.measured_on:%d %b %Y} is no day on which this can have been measured: "
            "expected today or a day of the last twelve months.",
        )
    level = _level(measured)
    x, y, chainage = _place(feature, design, measured)
    _check_against_design(feature, design, measured, level, chainage)
    return AsBuiltLevel(
        club=feature.club,
        feature=feature,
        of=measured.of,
        how=measured.how,
        x_m=round(x, 4),
        y_m=round(y, 4),
        chainage_m=chainage,
        level_m=round(level, 4),
        peg_level_m=measured.peg_level_m,
        below_peg_m=measured.below_peg_m,
        level_accuracy_m=measured.level_accuracy_m,
        plan_accuracy_m=measured.plan_accuracy_m,
        measured_on=measured.measured_on,
        note=measured.note,
        kept_by=by,
        **facts,
    )


@transaction.atomic
def measure_level(
    *,
    feature: Feature,
    measured: Measured,
    by: User | None,
    today: datetime.date | None = None,
    client_id: UUID | None = None,
    photo: UploadedFile[Any] | None = None,
) -> AsBuiltLevel:
    """Keep one level. Sent again under the same number, it is kept once.

    ValidationError, nothing kept, when it cannot be or the number stands for something else.
    """
    return _kept(feature, measured, by=by, today=today, client_id=client_id, photo=photo)


@transaction.atomic
def correct_level(
    *,
    wrong: AsBuiltLevel,
    measured: Measured,
    why: str,
    by: User | None,
    feature: Feature | None = None,
    today: datetime.date | None = None,
    client_id: UUID | None = None,
    photo: UploadedFile[Any] | None = None,
) -> AsBuiltLevel:
    """A new level in the place of a wrong one, which stays and is struck through.

    feature  the drain it belongs to, when the wrong one was chosen
    ValidationError without a reason, or when the level was corrected before.
    """
    if not why.strip():
        raise _refuse("why", "Say why: misread, wrong drain, laid again.")
    known = AsBuiltLevel.objects.filter(club=wrong.club, corrects=wrong).first()
    if known is not None and known.client_id != client_id:
        raise ValidationError(
            f"This level was corrected already, to {known.level_m:.3f} m; correct that one."
        )
    return _kept(
        feature or wrong.feature, measured, by=by, today=today, client_id=client_id, photo=photo,
        corrects=wrong, why=why.strip(),
    )  # fmt: skip


def _kept(
    feature: Feature,
    measured: Measured,
    *,
    by: User | None,
    today: datetime.date | None,
    client_id: UUID | None,
    photo: UploadedFile[Any] | None,
    **facts: Any,
) -> AsBuiltLevel:
    number = client_id or uuid4()
    known: AsBuiltLevel | None = AsBuiltLevel.objects.filter(
        club=feature.club, client_id=number
    ).first()
    if known is not None:
        if _same(known, feature, _level(measured), measured.of):
            return known
        raise ValidationError("This number was kept before with another level; measure it anew.")
    row = _checked_row(
        feature, measured, by=by, today=today or feature.club.today(), client_id=number, **facts
    )
    row.full_clean()
    if photo is not None:
        row.photo = clean_photo(photo, name=str(number))
    return save_record(row, by=by)


def faults_of(
    *, club: Club, rows: list[tuple[Feature, Measured, UUID]], today: datetime.date | None = None
) -> list[tuple[int, str]]:
    """Which of a file's levels could not be kept, by their place in ``rows``, and why."""
    found = []
    designs = _designs_of(club, rows)
    for number, (feature, measured, _) in enumerate(rows):
        try:
            _checked_row(
                feature, measured, by=None, today=today or club.today(), design=designs[feature.pk]
            ).full_clean(exclude=["feature", "club", "client_id"], validate_constraints=False)
        except ValidationError as error:
            found.append((number, " ".join(error.messages)))
    return found


def _designs_of(
    club: Club, rows: list[tuple[Feature, Measured, UUID]]
) -> dict[int, DesignLine | None]:
    nodes = levelled_nodes(club)
    features = {feature.pk: feature for feature, _, _ in rows}
    return {key: design_line_of(feature, nodes) for key, feature in features.items()}


@transaction.atomic
def keep_measured(
    *,
    club: Club,
    rows: list[tuple[Feature, Measured, UUID]],
    by: User | None,
    file_name: str,
    survey: Survey | None = None,
    today: datetime.date | None = None,
) -> list[AsBuiltLevel]:
    """All levels of a surveyor's file, or none. ValidationError names the first that cannot be.

    rows  each with the number it is kept under, so that a file brought in twice is known
    """
    if not rows:
        raise ValidationError("The file holds no level that could be kept.")
    if AsBuiltLevel.objects.filter(club=club, client_id__in=[one[2] for one in rows]).exists():
        raise ValidationError("This file was brought in before; nothing of it is kept twice.")
    day = today or club.today()
    made = []
    designs = _designs_of(club, rows)
    for number, (feature, measured, client_id) in enumerate(rows, start=1):
        try:
            row = _checked_row(
                feature, measured, by=by, today=day, file_name=file_name[:200], survey=survey,
                client_id=client_id, design=designs[feature.pk],
            )  # fmt: skip
            made.append(save_record(row, by=by))
        except ValidationError as error:
            raise ValidationError(
                f"Level {number} of the file: {' '.join(error.messages)}"
            ) from error
    return made


FACTS = (
    *("built_on", "laid_by", "material", "inside_diameter_mm", "outside_diameter_mm"),
    *("bedding", "backfilled_on", "backfilled_despite", "note"),
)


@transaction.atomic
def keep_facts(
    *, feature: Feature, by: User | None, today: datetime.date | None = None, **facts: Any
) -> AsBuiltFacts:
    """Say what lies in the ground: a new row that carries over what is not said anew."""
    if feature.kind not in DRAIN_LINES | DRAIN_NODES:
        raise ValidationError(f"A {feature.get_kind_display()} is no drain.")
    last = AsBuiltFacts.objects.filter(feature=feature).first()
    row = AsBuiltFacts(club=feature.club, feature=feature, kept_by=by)
    for name in FACTS:
        setattr(row, name, facts.get(name, getattr(last, name) if last else getattr(row, name)))
    inside, outside = row.inside_diameter_mm, row.outside_diameter_mm
    for field, size in (("inside_diameter_mm", inside), ("outside_diameter_mm", outside)):
        if size is not None and not 30 <= size <= 3500:
            raise _refuse(field, f"A diameter is from 30 to 3,500 mm; {size:g} was entered.")
    if inside is not None and outside is not None and outside <= inside:
        raise _refuse("outside_diameter_mm", "The outside of a pipe is larger than its bore.")
    if row.built_on is not None and row.built_on > (today or feature.club.today()):
        raise _refuse("built_on", "What is built was built today or before.")
    return save_record(row, by=by)


class StillOpen(ValidationError):
    """The trench may not be closed yet: what stands against it is in ``against``."""

    def __init__(self, against: list[str]) -> None:
        self.against = against
        super().__init__(
            {
                "despite": f"Not closed: {'; '.join(against)}. Put it right, or give the reason "
                "why it is closed all the same."
            }
        )


@transaction.atomic
def close_trench(
    *,
    feature: Feature,
    on: datetime.date,
    by: User | None,
    despite: str = "",
    today: datetime.date | None = None,
    **facts: Any,
) -> AsBuiltFacts:
    """Record that the trench is filled, and that the drain stands as built.

    Raises StillOpen while a backfall or a missing level stands and no reason is given. The design
    levels are not touched.
    """
    if feature.kind not in DRAIN_LINES:
        raise ValidationError(f"A {feature.get_kind_display()} has no trench.")
    day = today or feature.club.today()
    if on > day:
        raise _refuse("on", "A trench is closed today or was closed before.")
    against = as_built_of(feature).against_closing
    if against and not despite.strip():
        raise StillOpen(against)
    kept = keep_facts(
        feature=feature, by=by, today=day, backfilled_on=on,
        backfilled_despite=despite.strip() if against else "",
        **{"built_on": on, **facts},
    )  # fmt: skip
    if feature.state in (State.PROPOSED, State.ON_SITE, State.GROWING_IN):
        set_feature_state(feature=feature, state=State.AS_BUILT, on=on, by=by)
    return kept

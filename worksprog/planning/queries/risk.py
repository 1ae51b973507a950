"""The kept futures of the live plan, as a page shows them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from worksprog.calc.weather.years import Source
from worksprog.planning.models import Plan, PlannedItem, RiskRun
from worksprog.planning.queries.plans import planned_items
from worksprog.works.models import Item


@dataclass(frozen=True)
class Ends:
    """Finishes of one job or group by chance; None where the futures do not say."""

    label: str
    item: Item | None
    planned: date | None
    keeps_plan: float | None
    by: dict[int, date | None]
    lost_days: float
    unfinished: float

    @property
    def p10(self) -> date | None:
        return self.by[10]

    @property
    def p50(self) -> date | None:
        return self.by[50]

    @property
    def p80(self) -> date | None:
        return self.by[80]

    @property
    def p90(self) -> date | None:
        return self.by[90]

    @property
    def later_days(self) -> int | None:
        """How much later than planned it is finished in 8 cases of 10."""
        return (self.p80 - self.planned).days if self.p80 and self.planned else None


@dataclass(frozen=True)
class PromiseSheet:
    item: Item
    by: date
    chance: float
    p80: date | None

    @property
    def words(self) -> str:
        if self.chance >= 0.8:
            return "likely kept"
        if self.chance >= 0.5:
            return "as likely kept as not" if self.chance < 0.6 else "more likely kept than not"
        return "more likely broken than kept"


@dataclass(frozen=True)
class DriverSheet:
    words: str
    share: float
    is_cause: bool


@dataclass(frozen=True)
class RiskSheet:
    """Everything the page shows of one run."""

    run: RiskRun
    whole: Ends
    by_percent: list[date | None]
    jobs: list[Ends]
    projects: list[tuple[str, Ends]]
    winters: list[tuple[str, Ends]]
    promises: list[PromiseSheet]
    drivers: dict[str, list[DriverSheet]]
    weather: dict[str, Any]
    followed_to: date
    together: float
    notes: list[str]

    @property
    def weather_words(self) -> str:
        if self.weather["source"] == Source.OWN:
            return (
                f"{self.weather['years']} years of the club’s own gauge, "
                f"{self.weather['first']} to {self.weather['last']}"
            )
        made = f"{self.weather['years']} years made by chance"
        if self.weather["source"] == Source.FITTED:
            return f"{made} as it rained in the few years of the club’s own gauge"
        return f"{made} from stated figures for lowland England, for no gauge has told enough yet"


def latest_futures(plan: Plan) -> RiskRun | None:
    return RiskRun.objects.filter(plan=plan).first()


def risk_sheet(plan: Plan) -> RiskSheet | None:
    """Two queries, however many jobs; None where no futures are kept for this plan."""
    run = latest_futures(plan)
    if run is None:
        return None
    found = run.results
    rows = {str(row.item.uuid): row for row in planned_items(plan)}
    projects = {str(row.item.phase.project.uuid): row.item.phase.project for row in rows.values()}
    names = {f"project:{uuid}": str(project) for uuid, project in projects.items()}
    names |= {
        key: winter_words(int(key.partition(":")[2]))
        for key in found["groups"]
        if key.startswith("winter:")
    }
    groups = {key: _ends(row, names[key]) for key, row in found["groups"].items() if key in names}
    jobs = {
        uuid: _ends(found["jobs"][uuid], row.item.name, row.item)
        for uuid, row in rows.items()
        if uuid in found["jobs"]
    }
    return RiskSheet(
        run=run,
        whole=_ends(found["whole"], "The whole programme"),
        by_percent=[_day(day) for day in found["whole"]["by_percent"]],
        jobs=list(jobs.values()),
        projects=[
            (key, groups[key]) for key in names if key.startswith("project:") and key in groups
        ],
        winters=sorted((key, one) for key, one in groups.items() if key.startswith("winter:")),
        promises=sorted(
            (
                PromiseSheet(
                    rows[one["job"]].item,
                    date.fromisoformat(one["by"]),
                    one["chance"],
                    jobs[one["job"]].p80,
                )
                for one in found["promises"]
                if one["job"] in jobs
            ),
            key=lambda one: (one.chance, one.by, one.item.pk),
        ),
        drivers={
            key: [_driver(one, rows) for one in some] for key, some in found["drivers"].items()
        },
        weather=found["weather"],
        followed_to=date.fromisoformat(found["followed_to"]),
        together=found["together"],
        notes=found["notes"],
    )


def winter_words(year: int) -> str:
    return f"Winter {year}/{(year + 1) % 100:02d}"


def _ends(row: dict[str, Any], label: str, item: Item | None = None) -> Ends:
    return Ends(
        label=label,
        item=item,
        planned=_day(row["planned"]),
        keeps_plan=row["keeps_plan"],
        by={percent: _day(row[f"P{percent}"]) for percent in (10, 50, 80, 90)},
        lost_days=row["lost_days"],
        unfinished=row["unfinished"],
    )


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _driver(one: dict[str, Any], rows: dict[str, PlannedItem]) -> DriverSheet:
    if one["kind"] == "job":
        row = rows.get(one["name"])
        return DriverSheet(
            f"hours of {row.item.name}" if row else "hours of a job no longer planned",
            one["share"],
            False,
        )
    if one["kind"] == "winter":
        return DriverSheet(
            f"weather of {winter_words(int(one['name'])).lower()}", one["share"], True
        )
    return DriverSheet("how all the estimates turn out together", one["share"], True)

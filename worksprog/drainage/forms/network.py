from __future__ import annotations

from typing import Any

from django import forms

from worksprog.calc.ditches import LININGS
from worksprog.clubs.forms import take_any_fineness
from worksprog.clubs.models import Club
from worksprog.course.models import DRAIN_LINES, Feature, Kind, State
from worksprog.drainage.bridge import short_name
from worksprog.drainage.models import CulvertInlet, DesignStorm, DrainNode, DrainReach, RainTable
from worksprog.drainage.models.network import BORE_WORDS

LEVELS_AND_RAIN = (
    "upstream_invert_m",
    "downstream_invert_m",
    "catchment_ha",
    "runoff_coefficient",
    "flow_path_m",
    "flow_path_fall_m",
)
PIPE_FIELDS = ("inside_diameter_mm", "ks_mm", "material", "culvert_inlet")
DITCH_FIELDS = ("bottom_width_m", "side_slope", "depth_m", "freeboard_m", "manning_n", "lining")
LINING_CHOICES = [
    ("", "not entered"),
    *((key, f"{lining.words}: {lining.velocity_ms:g} m/s") for key, lining in LININGS.items()),
]


class SheetModelForm(forms.ModelForm):  # type: ignore[type-arg]
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class MarkedForm(SheetModelForm):
    """Carries the mark of what was seen, so that nobody's entries are overwritten unseen."""

    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def entered(self) -> dict[str, Any]:
        return {name: value for name, value in self.cleaned_data.items() if name != "seen"}

    def look_again(self, mark: str) -> None:
        """What was entered stays; keeping it once more is then meant."""
        self.data = {**self.data.dict(), "seen": mark}  # type: ignore[attr-defined]

    def set_against(self, row: DrainReach | DrainNode) -> list[dict[str, Any]]:
        """Where another's entries differ from these."""
        return [
            {"label": self.fields[name].label, "theirs": getattr(row, name), "yours": value}
            for name, value in self.entered().items()
            if getattr(row, name) != value
        ]


class ReachForm(MarkedForm):
    """Levels, catchment and section of one reach: only the fields that its kind has."""

    class Meta:
        model = DrainReach
        fields = [*LEVELS_AND_RAIN, *PIPE_FIELDS, *DITCH_FIELDS, "replaced_by"]
        labels = {
            "bottom_width_m": "Bed width (m)",
            "side_slope": "Side slope, across per 1 down",
            "depth_m": "Depth, bank to bed (m)",
            "freeboard_m": "Freeboard, kept dry (m)",
            "manning_n": "Manning's n",
            "runoff_coefficient": "Share of the rain that runs off",
            "culvert_inlet": "Culvert: how it begins",
            "lining": "Bed and banks",
            "replaced_by": "To be replaced by",
        }
        error_messages = {
            "inside_diameter_mm": {"min_value": BORE_WORDS, "max_value": BORE_WORDS},
        }
        help_texts = {
            "upstream_invert_m": "Metres above datum. Left empty, the level of the chamber or "
            "headwall at that end is taken.",
            "downstream_invert_m": "Metres above datum.",
            "catchment_ha": "What drains straight to this reach; what comes from the reaches "
            "above is added.",
            "runoff_coefficient": "0 to 1. Grass on clay 0.13 to 0.35 in a moderate storm "
            "(HEC-22, table 3-1); a saturated winter clay runs off far more.",
            "flow_path_m": "From the furthest point of its own catchment to the drain. Left empty, "
            "a usual time of entry is taken.",
            "culvert_inlet": "Only for a pipe that takes the water of an open ditch: the water "
            "above it is then worked out as a culvert's.",
            "lining": "The velocity it stands. Left empty, 1.2 m/s is taken.",
            "inside_diameter_mm": "The true bore: a pipe sold as 315 mm by its outside is about "
            "263 mm inside.",
            "ks_mm": "0.6 for surface water; 1.5 to 3 for old or silted drains.",
            "side_slope": "1.5 for a 1 in 1.5 batter.",
            "replaced_by": "When that stands, this one is taken as gone: the check of the finished "
            "network leaves it out, and the check of the weeks between shows what it must carry.",
            "manning_n": "About 0.025 newly dug, 0.035 with some weed, 0.08 choked.",
        }

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in DITCH_FIELDS if kind == Kind.PIPE else PIPE_FIELDS:
            del self.fields[name]
        if "culvert_inlet" in self.fields:
            self.fields["culvert_inlet"] = forms.ChoiceField(
                choices=CulvertInlet.choices,
                required=False,
                label=self.fields["culvert_inlet"].label,
                help_text=self.fields["culvert_inlet"].help_text,
            )
        if "lining" in self.fields:
            self.fields["lining"] = forms.ChoiceField(
                choices=LINING_CHOICES,
                required=False,
                label=self.fields["lining"].label,
                help_text=self.fields["lining"].help_text,
            )
        others = self.fields["replaced_by"]
        others.queryset = (  # type: ignore[attr-defined]
            Feature.objects.filter(club=self.instance.club, kind__in=DRAIN_LINES)
            .exclude(state=State.REMOVED)
            .exclude(pk=self.instance.feature_id)
            .only("ref", "name", "kind")
            .order_by("ref", "pk")
        )
        others.label_from_instance = short_name  # type: ignore[attr-defined]
        others.empty_label = "it stays"  # type: ignore[attr-defined]
        take_any_fineness(self.fields.values())


class NodeForm(MarkedForm):
    class Meta:
        model = DrainNode
        fields = ["cover_level_m", "invert_level_m", "size", "water_level_m", "head_loss_k"]
        help_texts = {
            "invert_level_m": "Taken for every pipe or ditch here that has no level of its own.",
            "size": "As 600 mm ring, or brick 0.9 × 0.9 m.",
            "water_level_m": "Of the brook or ditch it gives into. Left empty, it falls free.",
            "head_loss_k": "k in k V²/2g. Left empty, the angle through which the water turns "
            "tells it: 0.15 straight on, 1 at a right angle.",
        }

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["head_loss_k" if kind == Kind.OUTFALL else "water_level_m"]


class StormForm(SheetModelForm):
    class Meta:
        model = DesignStorm
        fields = [
            "name",
            "return_period_years",
            "intensity_mm_h",
            "source",
            "table",
            "climate_allowance_percent",
            "time_formula",
        ]
        labels = {
            "return_period_years": "Return period (years)",
            "table": "Table of depths by duration",
            "time_formula": "Time over the ground by",
        }
        help_texts = {
            "intensity_mm_h": "The mean over the time that water takes from the furthest part of "
            "the catchment, from your local rainfall statistics. Used where no table is chosen.",
            "table": "With one, each reach is checked for the length of storm that loads it most.",
            "climate_allowance_percent": "Added to the table's depths.",
            "time_formula": "Both are shown in the working of a reach. Kirpich was fitted to small "
            "farm catchments of 3 to 10 %; Bransby-Williams gives longer times.",
            "source": "Where the figure comes from. It stands in the working of every flow.",
        }

    def __init__(self, *args: Any, club: Club, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["table"].queryset = RainTable.objects.filter(club=club)  # type: ignore[attr-defined]
        self.fields["table"].empty_label = "none: the one intensity"  # type: ignore[attr-defined]
        self.fields["climate_allowance_percent"].required = False
        self.fields["time_formula"].required = False

    def clean_climate_allowance_percent(self) -> float:
        return float(self.cleaned_data["climate_allowance_percent"] or 0.0)

    def clean_time_formula(self) -> str:
        return str(self.cleaned_data["time_formula"] or DesignStorm.TimeFormula.BRANSBY)

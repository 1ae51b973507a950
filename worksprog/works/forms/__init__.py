"""Forms of the works' pages; what they check is what the models and services check."""

from __future__ import annotations

from worksprog.works.forms.items import (
    ConsentForm,
    ItemForm,
    LineForm,
    LinkForm,
    QuantityForm,
    SpendForm,
    StateForm,
)
from worksprog.works.forms.prices import PriceFileForm, PriceForm, RateForm, TrendForm
from worksprog.works.forms.programme import ApproveForm, PhaseForm, ProgrammeForm, ProjectForm
from worksprog.works.forms.shared import DateInput, SheetModelForm
from worksprog.works.forms.worth import BenefitForm, LeftAsIsForm, WorthRulesForm

__all__ = [
    "ApproveForm",
    "BenefitForm",
    "ConsentForm",
    "DateInput",
    "ItemForm",
    "LeftAsIsForm",
    "LineForm",
    "LinkForm",
    "PhaseForm",
    "PriceFileForm",
    "PriceForm",
    "ProgrammeForm",
    "ProjectForm",
    "QuantityForm",
    "RateForm",
    "SheetModelForm",
    "SpendForm",
    "StateForm",
    "TrendForm",
    "WorthRulesForm",
]

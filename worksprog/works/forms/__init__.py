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
from worksprog.works.forms.prices import MOST_FILE_BYTES, PriceFileForm, PriceForm, RateForm
from worksprog.works.forms.programme import ApproveForm, PhaseForm, ProgrammeForm, ProjectForm
from worksprog.works.forms.shared import DateInput, SheetModelForm

__all__ = [
    "MOST_FILE_BYTES",
    "ApproveForm",
    "ConsentForm",
    "DateInput",
    "ItemForm",
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
]

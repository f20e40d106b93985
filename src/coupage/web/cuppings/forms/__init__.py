"""Forms about tables, what stands on them, and what every table draws on."""

from __future__ import annotations

from coupage.web.cuppings.forms.mending import CorrectForm, WhyForm
from coupage.web.cuppings.forms.settings import (
    AttributeForm,
    ProtocolForm,
    StepForm,
    TasterForm,
    step_forms,
)
from coupage.web.cuppings.forms.tables import (
    CuppingForm,
    FactsForm,
    PourBatchForm,
    PourSampleForm,
    ReasonForm,
    SeatForm,
    TrialForm,
    WeighForm,
    trial_parts,
)

__all__ = [
    "AttributeForm",
    "CorrectForm",
    "CuppingForm",
    "FactsForm",
    "PourBatchForm",
    "PourSampleForm",
    "ProtocolForm",
    "ReasonForm",
    "SeatForm",
    "StepForm",
    "TasterForm",
    "TrialForm",
    "WeighForm",
    "WhyForm",
    "step_forms",
    "trial_parts",
]

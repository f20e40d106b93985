"""Forms about briefs, blends and recipes."""

from coupage.web.blends.forms.briefs import (
    BriefForm,
    LikeForm,
    LimitForm,
    WantForm,
    limit_forms,
    limits_of,
    want_forms,
)
from coupage.web.blends.forms.compare import CompareForm
from coupage.web.blends.forms.recipes import (
    BlendForm,
    ChooseForm,
    ReasonForm,
    RecipeForm,
    SampleForm,
    ServiceForm,
    WeighForm,
    share_forms,
)

__all__ = [
    "BlendForm",
    "BriefForm",
    "ChooseForm",
    "CompareForm",
    "LikeForm",
    "LimitForm",
    "ReasonForm",
    "RecipeForm",
    "SampleForm",
    "ServiceForm",
    "WantForm",
    "WeighForm",
    "limit_forms",
    "limits_of",
    "share_forms",
    "want_forms",
]

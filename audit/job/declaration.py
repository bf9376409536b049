"""What a fitter holds of their own work. The columns of `declarations.csv` are these field names."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from audit.job import fields as f
from audit.job.fields import Fold, Label

DeclaredWord = Literal["fault", "no fault", "can't tell"]


class Declaration(f.Declared):
    """One judgement by the fitter, made before anybody else decides."""

    fitting: Label = Field(description="Label of the fitting.")
    check: Label | None = Field(
        None, description="Identity of the check; every check of this fitting if left out."
    )
    says: Annotated[DeclaredWord, Fold] = Field(
        description="What the fitter holds; `no fault` only of what they looked at themselves."
    )
    by: Label | None = Field(
        None, description="Who declares it; who fitted the fitting if left out."
    )

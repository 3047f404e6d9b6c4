"""What every table of a site file is: strict, unknown keys refused, kept in part where it has mistakes."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Table(BaseModel):
    """A table of the site file. One with mistakes is kept in part: a key that could not be read is then None."""

    model_config = ConfigDict(strict=True, extra="forbid", arbitrary_types_allowed=True)


Text = Annotated[str, Field(min_length=1)]
Finite = Annotated[float, Field(allow_inf_nan=False)]

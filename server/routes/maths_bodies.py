"""Bodies of the maths routes: strict, closed, bounded."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

#: Most values a call takes.
VALUES_MAX = 200_000
#: Largest magnitude: its square must still be a number.
MAGNITUDE_MAX = 1e100

Number = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-MAGNITUDE_MAX, le=MAGNITUDE_MAX)]
Positive = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=MAGNITUDE_MAX)]
Whole = Annotated[int, Field(strict=True)]
Flag = Annotated[bool, Field(strict=True)]


class Ask(BaseModel):
    """What all bodies share: unknown names are refused."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True)


class IndividualsAsk(Ask):
    """Individuals and moving range."""

    values: list[Number] = Field(min_length=2)
    d2: Literal["table", "exact"] = "table"
    rounding: Flag = False


class XbarAsk(Ask):
    """Subgroups; `spread` says which the limits of the mean come from."""

    values: list[list[Number]] = Field(min_length=1)
    spread: Literal["range", "deviation"] = "range"


class EwmaAsk(Ask):
    """Exponentially weighted moving average."""

    values: list[Number] = Field(min_length=1)
    weight: Annotated[float, Field(alias="lambda", strict=True, gt=0, le=1)] = 0.2
    L: Positive = 3.0
    target: Number
    sigma: Positive
    limits: Literal["steady", "exact"] = "exact"


class CusumAsk(Ask):
    """Tabular cumulative sum, in multiples of sigma."""

    values: list[Number] = Field(min_length=1)
    target: Number
    sigma: Positive = 1.0
    k: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=MAGNITUDE_MAX)] = 0.5
    h: Positive = 5.0
    headstart: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=MAGNITUDE_MAX)] = 0.0


class RuleAsk(Ask):
    """A run rule with parameters."""

    rule: str
    n: Whole | None = None
    limit: Number | None = None


class RunRulesAsk(Ask):
    """Run rules over a series."""

    values: list[Number] = Field(min_length=1)
    center: Number
    sigma: Positive
    rules: list[str | RuleAsk] = Field(min_length=1, max_length=20)
    history: Literal["mark", "clear"] = "mark"


class CapabilityAsk(Ask):
    """Capability against at least one limit; `phi` is told or `measured` in the values."""

    values: list[Number] = Field(min_length=2)
    lower: Number | None = None
    upper: Number | None = None
    target: Number | None = None
    subgroup: Annotated[int, Field(strict=True, ge=1, le=100)] = 1
    confidence: Annotated[float, Field(strict=True, ge=0.5, lt=1)] = 0.95
    phi: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=-1, lt=1)] | Literal["measured"] = 0.0
    tails: Literal["normal", "measured"] = "normal"


class ArlAsk(Ask):
    """Average run length of a chart; parameters a chart does not have are not looked at."""

    chart: Literal["shewhart", "ewma", "cusum", "individuals_mr"]
    rules: list[str | RuleAsk] = Field(default=["beyond_limit"], min_length=1, max_length=20)
    weight: Annotated[float, Field(alias="lambda", strict=True, gt=0, le=1)] = 0.2
    L: Positive = 3.0
    limits: Literal["steady", "exact"] = "steady"
    k: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0)] = 0.5
    h: Positive = 5.0
    headstart: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0)] = 0.0
    two_sided: Flag = True
    x_limit: Positive = 3.0
    mr_limit: Positive | None = None
    shift: Number = 0.0
    phi: Number = 0.0


def _inlined(schema: Any, parts: dict[str, Any]) -> Any:
    if isinstance(schema, dict):
        if "$ref" in schema:
            return _inlined(parts[str(schema["$ref"]).rsplit("/", 1)[-1]], parts)
        return {key: _inlined(value, parts) for key, value in schema.items() if key != "$defs"}
    return [_inlined(value, parts) for value in schema] if isinstance(schema, list) else schema


def described(model: type[Ask]) -> dict[str, Any]:
    """What the OpenAPI document says about a body."""
    schema = model.model_json_schema()
    whole = _inlined(schema, schema.get("$defs", {}))
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": whole}}}}

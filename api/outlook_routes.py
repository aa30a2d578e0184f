"""The sky to come over HTTP: rain and heat that a person foretells by hand."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Request
from pydantic import AwareDatetime, ConfigDict, Field, RootModel
from starlette.responses import Response

from api import bodies
from api.asks import TheDesk, Writer, once, plain
from api.orders import place, record_response, rfc3339
from controller.events import OrderKind, OutlookSpan
from controller.telling.sky_orders import HOURS_MOST, RAIN_MOST_MM, SPANS_MOST

router = APIRouter()

Temp = Annotated[float, Field(ge=-45.0, le=60.0)]


class Span(bodies.Sent):
    """Rain and heat to come within one span of time, as on the `outlook` topic."""

    from_: Annotated[AwareDatetime, Field(alias="from")]
    hours: Annotated[float, Field(gt=0.0, le=HOURS_MOST)]
    rain_mm: Annotated[float, Field(ge=0.0, le=RAIN_MOST_MM)] = 0.0
    chance: Annotated[float, Field(ge=0.0, le=1.0)] = 1.0
    tmin_c: Temp | None = None
    tmax_c: Temp | None = None

    def told(self) -> OutlookSpan:
        """The same as the engine takes it."""
        return OutlookSpan(
            from_utc_s=self.from_.timestamp(),
            hours=self.hours,
            rain_mm=self.rain_mm,
            chance_frac=self.chance,
            tmin_c=self.tmin_c,
            tmax_c=self.tmax_c,
        )


class Outlook(RootModel[Annotated[list[Span], Field(min_length=1, max_length=SPANS_MOST)]]):
    """The spans that are spoken of; for all other time the topic's word counts."""

    model_config = ConfigDict(frozen=True, strict=True)


@router.put("/api/outlook", openapi_extra=bodies.described(Outlook))
async def outlook(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Rain and heat to come, typed by a person: in the place of what was typed before."""
    sent, raw = await bodies.json_body(request, Outlook)

    async def work() -> Response:
        spans = tuple(span.told() for span in sent.root)
        answer = await place(desk, caller, OrderKind.OUTLOOK, spans=spans)
        told = [
            {**span.model_dump(exclude={"from_"}), "from": rfc3339(span.from_.timestamp())}
            for span in sent.root
        ]
        return record_response(answer, OrderKind.OUTLOOK, caller, spans=told)

    return await once(request, caller, raw, work)


@router.delete("/api/outlook")
async def forget_outlook(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Take the typed sky back: the topic's word counts again."""
    return await plain(request, desk, caller, OrderKind.FORGET_OUTLOOK)

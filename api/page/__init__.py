"""The local page: made on the server, works without JavaScript, loads nothing from elsewhere."""

from fastapi import APIRouter

from api.page import (
    alarms,
    book,
    hand,
    hose,
    learned,
    letting,
    marks,
    phones,
    picking,
    sky,
    tank,
    turns,
    walk,
)
from api.page.render import docs, refused
from api.page.routes import routes as order_routes

__all__ = ["docs", "refused", "routes"]


def routes() -> APIRouter:
    """All routes of the page."""
    router = order_routes()
    hand.add_to(router)
    marks.add_to(router)
    learned.add_to(router)
    turns.add_to(router)
    tank.add_to(router)
    letting.add_to(router)
    hose.add_to(router)
    sky.add_to(router)
    alarms.add_to(router)
    walk.add_to(router)
    phones.add_to(router)
    picking.add_to(router)
    book.add_to(router)
    return router

"""The local page: made on the server, works without JavaScript, loads nothing from elsewhere."""

from api.page.render import docs, refused
from api.page.routes import routes

__all__ = ["docs", "refused", "routes"]

"""Web entry: see `config.web.serving`."""

from config.wsgi import application as pages_and_api  # sets Django up, so it comes first

from config.web.serving import Serving  # isort: skip

application = Serving(pages_and_api)
